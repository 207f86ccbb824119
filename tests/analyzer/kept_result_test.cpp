// A result written as JSON and read back: the same again, or refused.
#include "analyzer/measure/kept_result.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/measure/result_json.hpp"

namespace coldtune::measure {
namespace {

using Json = nlohmann::ordered_json;

MeasurementResult full_result() {
    MeasurementResult r;
    r.hookup = bench::Hookup::foot;
    r.findings = {{FindingCode::hum, Weight::caution, "hum at 50 Hz"},
                  {FindingCode::uncorrected, Weight::note, "none"}};
    Resonance found;
    found.frequency_hz = 65807.9;
    found.frequency_u95_hz = 3.9;
    found.q = 130.1;
    found.q_u95 = 0.3;
    found.resistance_ohm = 591.2;
    found.resistance_u95_ohm = 15;
    found.budget = {{"noise", 0.1, 0.01, 1}, {"clock", 1.9, 0, 0}};
    found.cross_checks = {{"half-power width", 130.0}};
    found.chi_square = 812.5;
    found.degrees_of_freedom = 800;
    found.fit_window = {62e3, 69e3};
    found.other_peaks_hz = {71e3};
    r.outcome = Accepted{.resonance = found,
                         .winding = WindingValue{.inductance_h = 0.06,
                                                 .inductance_u95_h = 1e-4,
                                                 .resistance_ohm = 80,
                                                 .resistance_u95_ohm = 1,
                                                 .own_capacitance_f = 9e-12,
                                                 .window = {1e3, 4e4},
                                                 .resistance_curve = {{1e3, 80}, {2e3, 81}},
                                                 .budget = {{"noise", 1e-5, 0.2}},
                                                 .own_capacitance_u95_f = 1e-12},
                         .coupling = Coupling{0.15, 0.01, 0.058, 2.5e-5, true, {{"shorting lead", 4e-4}}}};
    r.usable_band_hz = dsp::Band{1e3, 86e3};
    model::Calculated c;
    c.frequency_hz = 66.3e3;
    c.frequency_u95_hz = 2.1e3;
    c.inductance_h = 0.19;
    c.q = 240;
    r.calculated = c;
    r.sample_rate_hz = 192000;
    r.averages = 7;
    r.clock_drift_ppm = 0.25;
    r.reason_for_way = "the resonance lies inside the usable band";
    for (int k = 1; k < 40; ++k) {
        r.curve.frequency_hz.push_back(1e3 * k / 3);
        r.curve.impedance_ohm.emplace_back(1.0 / k, -1e5 / k);
        r.curve.standard_deviation_ohm.push_back(0.1 * k);
    }
    return r;
}

TEST(KeptResult, ComesBackToTheLastDigit) {
    const Json written = to_json(full_result(), true);
    const auto read = result_from_json(Json::parse(written.dump()), "kept");
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_EQ(to_json(*read, true).dump(), written.dump());
    // A rejected one, and one with holes in its curve.
    MeasurementResult r = full_result();
    r.outcome = Rejected{};
    r.findings.push_back({FindingCode::clipped, Weight::reject, "input 1 is clipped"});
    r.curve.impedance_ohm[3] = std::nan("");
    const Json rejection = to_json(r, true);
    const auto again = result_from_json(Json::parse(rejection.dump()), "kept");
    ASSERT_TRUE(again.ok()) << again.error().message;
    EXPECT_EQ(to_json(*again, true).dump(), rejection.dump());
    EXPECT_EQ(again->resonance(), nullptr);
}

// What a coupled pair and a tank say.
MeasurementResult pair_result() {
    MeasurementResult r;
    Pair p;
    p.primary_frequency_hz = 64974.4;
    p.primary_frequency_u95_hz = 7.6;
    p.secondary_frequency_hz = 65488.2;
    p.secondary_frequency_u95_hz = 7.4;
    p.primary_q = 302.9;
    p.primary_q_u95 = 1.4;
    p.secondary_q = 131.0;
    p.secondary_q_u95 = 1.8;
    p.k = 0.1359;
    p.k_u95 = 1.6e-5;
    p.lower = {61170.5, 3.7, 1.1e-3};
    p.upper = {70134.8, 4.4, 0.9e-3};
    for (std::size_t i = 0; i < 5; ++i) {
        for (std::size_t k = 0; k < 5; ++k) p.correlation[i][k] = i == k ? 1 : 0.01 * static_cast<double>(i + k);
    }
    p.budget = {{"noise", 0.1, 0.2, 0.3, 0.4, 5e-6}};
    p.chi_square = 99;
    p.degrees_of_freedom = 100;
    p.fit_windows = {dsp::Band{60e3, 62e3}, dsp::Band{69e3, 71e3}};
    p.shape_described = true;
    r.outcome = Accepted{.pair = p};
    r.bench = {"an interface", "2026-11-27T10:30:00Z", 10e3, 10.1e3};
    return r;
}

MeasurementResult tank_result() {
    MeasurementResult r = full_result();
    r.hookup = bench::Hookup::tank;
    r.calculated.reset();
    r.calculated_tank = model::TankCalculated{63e3, 1e3, 60e-6, 2e-6, 100e-9, 5e-9};
    Accepted tank;
    tank.resonance = *r.resonance();
    tank.tank = TankValue{60e-6, 3e-6, 100e-9, 5e-9, 0.08};
    r.outcome = tank;
    return r;
}

TEST(KeptResult, PairAndTankComeBackToo) {
    for (const MeasurementResult& r : {pair_result(), tank_result()}) {
        const Json written = to_json(r, true);
        const auto read = result_from_json(Json::parse(written.dump()), "kept");
        ASSERT_TRUE(read.ok()) << read.error().message;
        EXPECT_EQ(to_json(*read, true).dump(), written.dump());
    }
}

TEST(KeptResult, OneThatContradictsItselfIsRefused) {
    const Json good = to_json(full_result(), true);
    const auto refused = [&](const char* pointer, Json value, const char* says) {
        Json json = good;
        json[Json::json_pointer(pointer)] = std::move(value);
        const auto read = result_from_json(json, "kept.json");
        ASSERT_FALSE(read.ok()) << pointer;
        EXPECT_EQ(read.error().message.rfind("kept.json: ", 0), 0U);
        EXPECT_NE(read.error().message.find(says), std::string::npos) << read.error().message;
    };
    refused("/schema", "coldtune.result.v9", "not a result");
    refused("/verdict", "good", "not what the findings give");
    refused("/findings/0/weight", "reject", "not what the findings give");
    refused("/findings/0/code", "bad-mood", "is no finding");
    refused("/hookup", "elbow", "is no hookup");
    refused("/resonance/frequency_hz", -1, "resonance.frequency_hz");
    refused("/resonance/way", "by-ear", "is no way");
    refused("/resonance/q", "many", "resonance.q");
    refused("/resonance", 5, "resonance: must be an object");
    refused("/curve/frequency_hz/4", 1, "does not rise");
    refused("/curve/frequency_hz/4", "x", "entry 5 is no number");
    refused("/curve/impedance_real_ohm", Json::array({1, 2}), "not of one length");
    Json rejection = good;
    rejection["findings"][0]["weight"] = "reject";
    rejection["verdict"] = "rejected";
    const auto read = result_from_json(rejection, "kept.json");
    ASSERT_FALSE(read.ok());
    EXPECT_NE(read.error().message.find("yet there is a value in it"), std::string::npos);
    EXPECT_FALSE(result_from_json(Json::array(), "kept.json").ok());
    EXPECT_FALSE(result_from_json(Json(), "kept.json").ok());
}

// Any value in any place: read or refused, never a crash. The count bounds the time.
TEST(KeptResult, AnyValueInAnyPlaceIsReadOrRefused) {
    const std::vector<Json> values = {nullptr,         true, -1, 1e300, "text", Json::array(), Json::object(),
                                      Json::array({1})};
    for (const Json& good :
         {to_json(full_result(), false), to_json(pair_result(), false), to_json(tank_result(), false)}) {
        const Json flat = good.flatten();
        for (const auto& [pointer, old] : flat.items()) {
            std::string path = pointer;
            while (!path.empty()) {
                for (const Json& value : values) {
                    Json json = good;
                    json[Json::json_pointer(path)] = value;
                    const auto read = result_from_json(json, "x");
                    if (read.ok() && read->resonance() != nullptr) {
                        EXPECT_GT(read->resonance()->frequency_hz, 0) << path;
                    }
                }
                path.resize(path.rfind('/'));
            }
        }
    }
}

}  // namespace
}  // namespace coldtune::measure
