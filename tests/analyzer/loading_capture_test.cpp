// Loading series from captures of a simulated bench.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/measure/loading_json.hpp"
#include "tests/support/loading_bench.hpp"

namespace coldtune {
namespace {

using measure::FindingCode;
using measure::LoadingRequest;
using measure::LoadingResult;
using measure::Verdict;
using test::Capacitor;
using test::described_coil;
using test::foot_request;
using test::kFour;
using test::loaded_capture;
using test::sweep;
using test::true_coil;
using test::TrueCoil;
using ::testing::HasSubstr;

std::string said(const LoadingResult& loading) {
    std::string out;
    for (const auto& f : loading.result.findings) out += std::string(measure::code_name(f.code)) + ": " + f.text + "\n";
    return out;
}

void expect_no_number(const LoadingResult& loading) {
    EXPECT_EQ(loading.result.verdict(), Verdict::rejected);
    EXPECT_EQ(loading.result.resonance(), nullptr);
    EXPECT_FALSE(loading.model.has_value() || loading.straight_line.has_value());
    const auto json = measure::to_json(loading);
    EXPECT_TRUE(json["resonance"].is_null() && json["winding"].is_null() && json["difference_percent"].is_null());
    EXPECT_TRUE(json["loading"]["model"].is_null() && json["loading"]["straight_line"].is_null());
    for (const auto& p : json["loading"]["points"]) {
        EXPECT_TRUE(p["frequency_hz"].is_null() && p["frequency_u95_hz"].is_null() && p["residual_hz"].is_null());
    }
}

TEST(LoadingCaptures, OfASecondaryGiveInductanceAndUnloadedResonance) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, kFour);
    request.bench.open = test::standard(coil.bench, bench::Hookup::open, sweep());
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    ASSERT_NE(loading->result.resonance(), nullptr) << said(*loading);
    EXPECT_EQ(loading->result.verdict(), Verdict::good) << said(*loading);
    const auto& r = *loading->result.resonance();
    EXPECT_EQ(r.way, measure::Way::loading_series);
    EXPECT_FALSE(r.q.has_value() || r.resistance_ohm.has_value());
    EXPECT_LE(std::abs(r.frequency_hz - coil.frequency_hz), r.frequency_u95_hz);
    EXPECT_NEAR(loading->model->inductance_h / coil.inductance_h, 1, 0.01);  // the promised figure
    EXPECT_LE(std::abs(loading->model->inductance_h - coil.inductance_h), loading->model->inductance_u95_h);
    // Or the interval says nothing: 2 * 1 % / sqrt 3 that the capacitors may have in common, and as much for each of
    // four with a distributed coil, of which they leave little less than one's.
    EXPECT_LE(loading->model->inductance_u95_h, 0.0163 * coil.inductance_h);

    const auto json = measure::to_json(*loading);
    EXPECT_EQ(json["schema"], "coldtune.result.v1");
    EXPECT_EQ(json["resonance"]["way"], "loading-series");
    EXPECT_TRUE(json["resonance"]["q"].is_null() && json["resonance"]["resistance_ohm"].is_null());
    EXPECT_EQ(json["winding"]["inductance_h"], loading->model->inductance_h);
    EXPECT_TRUE(json["winding"]["resistance_ohm"].is_null());
    EXPECT_EQ(json["loading"]["points"].size(), 4U);
    EXPECT_EQ(json["loading"]["points"][1]["capacitance_f"], 220e-12);
    EXPECT_EQ(json["loading"]["model"]["frequency_hz"], json["resonance"]["frequency_hz"]);
    EXPECT_TRUE(json["difference_percent"].is_number());
}

// The whole series in one line, and yet not of the described coil: its top load is not the one in place.
TEST(LoadingCaptures, AResonanceThatContradictsTheDescriptionIsACaution) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, kFour);
    request.bench.open = test::standard(coil.bench, bench::Hookup::open, sweep());
    request.bench.description->topload.clear();
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    EXPECT_EQ(loading->result.verdict(), Verdict::caution) << said(*loading);
    EXPECT_THAT(said(*loading), HasSubstr("below calculated, more than a room does"));
}

// From 20 to 150 mH, with the capacitors that bring each into the band of 43 kHz.
TEST(LoadingCaptures, OfSmallAndLargeSecondariesStayWithinTheirIntervals) {
    struct Case {
        double diameter_m, length_m, turns;
        bool topload;
        std::vector<Capacitor> capacitors;
    };
    const std::vector<Case> cases = {
        {0.10, 0.47, 1050, false, {{820e-12, 825e-12}, {910e-12, 904e-12}, {1e-9, 1.006e-9}}},
        {0.16, 0.75, 1270, true, {{330e-12, 328e-12}, {470e-12, 473e-12}, {680e-12, 677e-12}, {1e-9, 1.005e-9}}},
        {0.20, 0.95, 1620, true, kFour},
        {0.25, 1.10, 1720, false, {{100e-12, 99.2e-12}, {330e-12, 332e-12}, {1e-9, 0.998e-9}}},
    };
    std::printf("%8s %8s %2s | %8s %9s %9s | %9s %9s %9s\n", "L mH", "kHz", "n", "line L%", "model L%", "stated L%",
                "line f%", "model f%", "stated f%");
    for (const Case& c : cases) {
        const auto described = test::coil_of(c.diameter_m, c.length_m, c.turns, c.topload);
        const TrueCoil coil = true_coil(described);
        LoadingRequest request = foot_request(coil, c.capacitors);
        request.bench.description = described;
        request.bench.open = test::standard(coil.bench, bench::Hookup::open, sweep());
        const auto loading = measure::analyze_loading(std::move(request));
        ASSERT_TRUE(loading.ok()) << loading.error().message;
        ASSERT_TRUE(loading->model.has_value()) << c.turns << " turns: " << said(*loading);
        const auto& m = *loading->model;
        const auto& line = *loading->straight_line;
        const auto percent = [](double value, double truth) { return 100 * (value / truth - 1); };
        EXPECT_LE(std::abs(percent(m.inductance_h, coil.inductance_h)), 1.0);  // the promised figure
        EXPECT_LE(std::abs(m.inductance_h - coil.inductance_h), m.inductance_u95_h);
        EXPECT_LE(std::abs(*m.frequency_hz - coil.frequency_hz), *m.frequency_u95_hz);
        std::printf(
            "%8.1f %8.1f %2zu | %+8.2f %+9.2f %9.2f | %9s %+9.1f %9.1f\n", 1e3 * coil.inductance_h,
            coil.frequency_hz / 1e3, c.capacitors.size(), percent(line.inductance_h, coil.inductance_h),
            percent(m.inductance_h, coil.inductance_h), 100 * m.inductance_u95_h / coil.inductance_h,
            line.frequency_hz ? fmt::format("{:+.1f}", percent(*line.frequency_hz, coil.frequency_hz)).c_str() : "none",
            percent(*m.frequency_hz, coil.frequency_hz), 100 * *m.frequency_u95_hz / coil.frequency_hz);
    }
}

TEST(LoadingCaptures, WithoutStandardsAreUncorrectedOnceAndStillCovered) {
    const TrueCoil coil = true_coil();
    const auto loading = measure::analyze_loading(foot_request(coil, kFour));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    ASSERT_NE(loading->result.resonance(), nullptr) << said(*loading);
    ASSERT_EQ(loading->result.findings.size(), 1U) << said(*loading);
    EXPECT_EQ(loading->result.findings[0].code, FindingCode::uncorrected);
    EXPECT_LE(std::abs(loading->model->inductance_h - coil.inductance_h), loading->model->inductance_u95_h);
    EXPECT_LE(std::abs(*loading->model->frequency_hz - coil.frequency_hz), *loading->model->frequency_u95_hz);
    // What was declared instead of measured acts on all points alike.
    std::vector<std::string> sources;
    for (const auto& line : loading->model->budget) sources.push_back(line.source);
    EXPECT_THAT(sources, ::testing::IsSupersetOf({"clock", "reference resistor", "input capacitance", "lead"}));
}

TEST(LoadingCaptures, ASpoiledOneIsNamedWithItsFindingAndNothingIsGiven) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, {kFour[0], kFour[1], kFour[2]});
    bench::Bench clipping = coil.bench;
    clipping.interface.clip_level = 0.2;
    request.points[1].capture = loaded_capture(clipping, 220e-12);
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    expect_no_number(*loading);
    ASSERT_FALSE(loading->result.findings.empty());
    EXPECT_EQ(loading->result.findings[0].code, FindingCode::clipped);
    EXPECT_THAT(loading->result.findings[0].text, HasSubstr("220 pF (220 pF.wav)"));
}

TEST(LoadingCaptures, ACapacitorThatDoesNotBringItIntoTheBandIsNamed) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, {{10e-12, 10e-12}, kFour[1], kFour[2]});
    request.bench.open = test::standard(coil.bench, bench::Hookup::open, sweep());
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    expect_no_number(*loading);
    ASSERT_FALSE(loading->result.findings.empty());
    EXPECT_EQ(loading->result.findings[0].code, FindingCode::outside_band);
    EXPECT_THAT(loading->result.findings[0].text, HasSubstr("with 10.0 pF"));
    EXPECT_THAT(loading->result.findings[0].text, HasSubstr("larger capacitor"));
}

TEST(LoadingCaptures, ContradictingPointsAreRefusedAndTheOddOneNamed) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, kFour);
    request.points[2].capacitance_f = 390e-12;  // the 470 pF was typed as its neighbour
    request.points[2].limit_f = 3.9e-12;
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    expect_no_number(*loading);
    EXPECT_THAT(said(*loading), HasSubstr("the odd one is 390 pF"));
}

TEST(LoadingCaptures, OfATankGiveItsInductanceAndResonanceWithoutADescription) {
    bench::Bench bench;
    bench.interface.sample_rate_hz = 96000;
    bench.coil = test::series_coil(90e3, 150, 60e-3, 8e-12);  // not connected here
    bench.tank = {60e-6, 0.08, 330e-9};
    LoadingRequest request;
    request.bench = test::request_for(bench, {}, bench::Hookup::tank);
    for (const Capacitor c : {Capacitor{0, 0}, {220e-9, 219e-9}, {470e-9, 472e-9}, {1e-6, 1.004e-6}}) {
        bench::Bench loaded = bench;
        loaded.tank.capacitance_f += c.true_f;
        loaded.seed = static_cast<std::uint64_t>(c.true_f * 1e12) + 5;
        request.points.push_back(
            {c.printed_f, 0.01 * c.printed_f, test::capture(loaded, bench::Hookup::tank, sweep()), "t"});
    }
    test::add_standards(request.bench, bench, sweep());
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    ASSERT_NE(loading->result.resonance(), nullptr) << said(*loading);
    EXPECT_FALSE(loading->model.has_value());
    EXPECT_FALSE(loading->result.calculated.has_value());
    EXPECT_LE(std::abs(loading->straight_line->inductance_h - 60e-6), loading->straight_line->inductance_u95_h);
    EXPECT_LE(std::abs(*loading->straight_line->capacitance_f - 330e-9), *loading->straight_line->capacitance_u95_f);
    const double truth = 1 / (2 * std::numbers::pi * std::sqrt(60e-6 * 330e-9));
    // Loss moves a tank's peak from the undamped resonance by 1/(2 Q^2) at most, 30 ppm here.
    EXPECT_NEAR(loading->result.resonance()->frequency_hz / truth, 1, 100e-6);
}

TEST(LoadingRequests, ThatMakeNoSenseAreUsageErrors) {
    const auto fails = [](LoadingRequest request, const char* part) {
        const auto result = measure::analyze_loading(std::move(request));
        ASSERT_FALSE(result.ok()) << part;
        EXPECT_EQ(result.error().kind, ErrorKind::usage) << result.error().message;
        EXPECT_THAT(result.error().message, HasSubstr(part));
    };
    const auto request = [](bench::Hookup hookup, std::vector<std::pair<double, double>> points) {
        LoadingRequest r;
        r.bench.hookup = hookup;
        r.bench.bench.reference_ohm = 10e3;
        r.bench.description = described_coil();
        for (const auto& [c, limit] : points) r.points.push_back({c, limit, {}, "x.wav"});
        return r;
    };
    using bench::Hookup;
    const std::vector<std::pair<double, double>> two = {{100e-12, 1e-12}, {220e-12, 2e-12}};
    fails(request(Hookup::winding, two), "winding has no loading series");
    fails(request(Hookup::foot, {{100e-12, 1e-12}}), "1 point given");
    fails(request(Hookup::foot, {}), "0 points given");
    fails(request(Hookup::foot, {two[0], two[0]}), "100 pF was already given");
    fails(request(Hookup::foot, {two[0], {-1e-12, 0}}), "x.wav: the capacitor");
    fails(request(Hookup::foot, {two[0], {1, 0}}), "x.wav: the capacitor");
    fails(request(Hookup::foot, {two[0], {220e-12, 200e-12}}), "x.wav: the tolerance");
    fails(request(Hookup::foot, {two[0], {std::nan(""), 0}}), "x.wav: the capacitor");
    LoadingRequest undescribed = request(Hookup::foot, two);
    undescribed.bench.description.reset();
    fails(undescribed, "--coil");
    LoadingRequest lead = request(Hookup::foot, two);
    lead.lead_limit_f = -1e-12;
    fails(lead, "leads");
}

}  // namespace
}  // namespace coldtune
