// coldtune tune from captures of a tank to the sentence that says where to put the tap.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "analyzer/measure/loading_json.hpp"
#include "analyzer/model/primary.hpp"
#include "analyzer/record/coil_file.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/scratch_folder.hpp"
#include "tests/support/written_result.hpp"

namespace coldtune {
namespace {

using testing::coldtune;
using ::testing::HasSubstr;
using ::testing::Not;

const char* const kCoilJson =
    R"({"secondary": {"diameter": "200mm", "length": "950mm", "turns": 1620, "wire": "0.47mm", "base_height": "250mm"},
        "topload": {"shape": "toroid", "outer_diameter": "600mm", "tube_diameter": "160mm", "height": "120mm"},
        "primary": {"inner_diameter": "34cm", "pitch": "18mm", "turns": 14, "conductor": "8mm", "base_height": "20cm"},
        "tank": {"capacitance": "100n", "tap_turns": 10, "lead_inductance": "0.4u"}})";

test::SweepShape sweep() {
    test::SweepShape shape;
    shape.period = 65536;
    shape.periods = 4;
    return shape;
}

bench::Bench bench_with(const bench::LumpedTank& tank) {
    bench::Bench bench;
    bench.coil = test::series_coil(60e3, 150, 0.1, 0);
    bench.tank = tank;
    bench.wiring.reference_ohm = 100.3;
    bench.wiring.lead_ohm = 0.04;
    bench.wiring.lead_h = 0.2e-6;
    return bench;
}

// The true tank: 3 % more capacitance than described, the primary 2 % larger all over.
bench::LumpedTank true_tank(double tap) {
    auto coil = record::parse_coil(kCoilJson, "coil");
    auto primary = *coil->primary;
    primary.inner_diameter_m *= 1.02;
    primary.pitch_m *= 1.02;
    return {model::primary_inductance_h(primary, tap) + 0.6e-6, 0.15, 103e-9};
}

measure::AnalysisRequest tank_request(const bench::Bench& bench) {
    auto request = test::request_for(bench, test::capture(bench, bench::Hookup::tank, sweep()), bench::Hookup::tank);
    request.bench.reference_ohm = 100;
    request.open = test::standard(bench, bench::Hookup::open, sweep());
    request.short_circuit = test::standard(bench, bench::Hookup::short_circuit, sweep());
    request.description = *record::parse_coil(kCoilJson, "coil");
    return request;
}

TEST(TankHookup, InBandShowsTheCalculatedTankAndItsInductance) {
    const bench::LumpedTank tank = true_tank(10);
    const auto result = measure::analyze(tank_request(bench_with(tank)));
    ASSERT_TRUE(result.ok()) << result.error().message;
    ASSERT_NE(result->resonance(), nullptr);
    const double truth = model::tank_frequency_hz(tank.inductance_h, tank.capacitance_f);
    EXPECT_NEAR(result->resonance()->frequency_hz, truth, result->resonance()->frequency_u95_hz);
    ASSERT_TRUE(result->calculated_tank.has_value());
    EXPECT_LE(std::abs(result->calculated_tank->frequency_hz - truth), result->calculated_tank->frequency_u95_hz);
    EXPECT_FALSE(result->calculated.has_value());  // that is the secondary's
    EXPECT_NEAR(*result->difference_percent(), 100 * (truth / result->calculated_tank->frequency_hz - 1), 0.02);
    const auto& value = *std::get<measure::Accepted>(result->outcome).tank;
    EXPECT_LE(std::abs(value.inductance_h - tank.inductance_h), value.inductance_u95_h);
    // w L / Q with a capacitor 3 % off.
    EXPECT_NEAR(*value.resistance_ohm / tank.resistance_ohm, 1.03, 0.02);
    const auto json = measure::to_json(*result, false);
    EXPECT_NEAR(json["calculated"]["frequency_hz"].get<double>(), result->calculated_tank->frequency_hz, 1e-9);
    EXPECT_TRUE(json["calculated"]["q"].is_null());
    EXPECT_EQ(json["described"]["tank"]["tap_turns"], 10.0);
}

// The tank rings above the band; film capacitors across it bring it down.
TEST(TankHookup, ALoadingSeriesTellsInductanceCapacitanceAndResonance) {
    bench::LumpedTank tank = true_tank(10);
    tank.capacitance_f = 22e-9;
    const double truth = model::tank_frequency_hz(tank.inductance_h, tank.capacitance_f);
    ASSERT_GT(truth, 0.45 * 192000);
    measure::LoadingRequest request;
    request.bench = tank_request(bench_with(tank));
    for (const auto& [printed, really] :
         {std::pair{33e-9, 33.2e-9}, std::pair{68e-9, 67.6e-9}, std::pair{150e-9, 150.9e-9}}) {
        bench::LumpedTank loaded = tank;
        loaded.capacitance_f += really;
        request.points.push_back(
            {printed, 0.01 * printed, test::capture(bench_with(loaded), bench::Hookup::tank, sweep()), "p.wav"});
    }
    const auto series = measure::analyze_loading(request);
    ASSERT_TRUE(series.ok()) << series.error().message;
    ASSERT_NE(series->result.resonance(), nullptr);
    EXPECT_LE(std::abs(series->result.resonance()->frequency_hz - truth), series->result.resonance()->frequency_u95_hz);
    const auto& value = *std::get<measure::Accepted>(series->result.outcome).tank;
    EXPECT_LE(std::abs(value.inductance_h - tank.inductance_h), value.inductance_u95_h);
    EXPECT_LE(std::abs(value.capacitance_f - tank.capacitance_f), value.capacitance_u95_f);
    // The bench's resistance does not rise with frequency; nothing told the series that.
    const double true_q = 2 * std::numbers::pi * truth * tank.inductance_h / tank.resistance_ohm;
    EXPECT_LE(std::abs(*series->result.resonance()->q - true_q), *series->result.resonance()->q_u95);
    EXPECT_LT(*series->result.resonance()->q_u95, 0.5 * true_q);
    EXPECT_TRUE(series->result.calculated_tank.has_value());

    // Read back it is a tank's result, with both; combine still will not have it.
    const std::string text = measure::to_json(*series).dump();
    const auto known = measure::parse_any_result(text, "p.json");
    ASSERT_TRUE(known.ok()) << known.error().message;
    EXPECT_TRUE(known->tank_resonance && known->inductance && !known->resonance);
    EXPECT_FALSE(measure::parse_result(text, "p.json").ok());
}

TEST(TankHookup, ThePrimaryAloneAtATapByTheWindingHookup) {
    const double henry = true_tank(10).inductance_h;
    bench::Bench bench = bench_with({});
    bench.coil = bench::LumpedCoil{{{henry, 1e-9, 0.12}}, 0};
    auto request =
        test::request_for(bench, test::capture(bench, bench::Hookup::winding, sweep()), bench::Hookup::winding);
    request.bench.reference_ohm = 100;
    request.open = test::standard(bench, bench::Hookup::open, sweep());
    request.short_circuit = test::standard(bench, bench::Hookup::short_circuit, sweep());
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    const auto& accepted = std::get<measure::Accepted>(result->outcome);
    ASSERT_TRUE(accepted.winding.has_value());
    EXPECT_LE(std::abs(accepted.winding->inductance_h - henry), accepted.winding->inductance_u95_h);
    EXPECT_LT(accepted.winding->inductance_u95_h, 0.04 * henry);
}

TEST(TuneCommand, GoesFromCapturesToTheTap) {
    const coldtune::testing::ScratchFolder folder;
    const auto coil_path = folder.put("coil.json", kCoilJson).string();
    const auto tank_at = [&](double tap, const std::string& name) {
        const auto bench = bench_with(true_tank(tap));
        const auto wav = folder / (name + ".wav");
        EXPECT_TRUE(audio::write_capture(wav, test::capture(bench, bench::Hookup::tank, sweep()).capture,
                                         audio::SampleFormat::pcm24, std::nullopt)
                        .ok());
        const auto ran = coldtune({"analyze", wav.string(), "--hookup", "tank", "--reference", "100", "--period",
                                   "65536", "--coil", coil_path, "--json"});
        EXPECT_EQ(ran.code, 0) << ran.err;
        return folder.put(name + ".json", ran.out).string();
    };
    const double wanted = 8.6;  // where the true tank meets the target
    const auto hz = [](const bench::LumpedTank& t) {
        return model::tank_frequency_hz(t.inductance_h, t.capacitance_f);
    };
    const auto described = *record::parse_coil(kCoilJson, "coil");
    const auto secondary =
        folder.put("s.json", test::written({.frequency_hz = hz(true_tank(wanted)) / 0.97, .description = described}))
            .string();
    const auto ten = tank_at(10, "ten"), eight = tank_at(8, "eight");

    const auto text = coldtune({"tune", "--secondary", secondary, "--primary", ten, "--coil", coil_path});
    EXPECT_EQ(text.code, 0) << text.err;
    for (const char* word : {"move the tap in by 1.4", "before turn mark 9", "tuned here", "done and left",
                             "REMOVE the bridge", "interface", "common practice"}) {
        EXPECT_THAT(text.out, HasSubstr(word)) << text.out;
    }
    // A report on the same results says the same; one without the description nothing.
    const auto page = (folder / "page.html").string();
    const auto tuning_in_report = [&](const std::string& of, const std::vector<std::string>& more) {
        std::vector<std::string> command = {"report", of, ten, "--out", page};
        command.insert(command.end(), more.begin(), more.end());
        const auto ran = coldtune(command);
        EXPECT_EQ(ran.code, 0) << ran.err;
        const std::string html = coldtune::testing::bytes_of(page);
        const auto from = html.find("<h2>Tuning</h2>");
        return from == std::string::npos ? std::string() : html.substr(from, html.find("</section>", from) - from);
    };
    const std::string words = tuning_in_report(secondary, {"--coil", coil_path});
    for (const char* word : {"Move the tap in by 1.4", "before turn mark 9", "common practice", "Target", "s.json"}) {
        EXPECT_THAT(words, HasSubstr(word));
    }
    EXPECT_EQ(tuning_in_report(secondary, {}), "");
    EXPECT_THAT(tuning_in_report(secondary, {"--coil", coil_path, "--allowance", "10%"}), HasSubstr("10 % below"));

    // In a book the tank's own description says where its tap was, whatever the secondary was analysed with.
    const auto book = (folder / "bench.json").string();
    std::string elsewhere = kCoilJson;
    elsewhere.replace(elsewhere.find("\"tap_turns\": 10"), 15, "\"tap_turns\": 12");
    bench::Bench foot;
    foot.coil = test::series_coil(62e3, 150, 60e-3, 8e-12);
    ASSERT_TRUE(audio::write_capture(folder / "foot.wav", test::capture(foot, bench::Hookup::foot, sweep()).capture,
                                     audio::SampleFormat::pcm24, std::nullopt)
                    .ok());
    const auto keep = [&](const char* wav, const char* hookup, const char* reference, const std::string& coil) {
        const auto ran = coldtune({"book", "add", book, (folder / wav).string(), "--hookup", hookup, "--reference",
                                   reference, "--period", "65536", "--coil", coil});
        EXPECT_EQ(ran.code, 0) << ran.err;
    };
    keep("ten.wav", "tank", "100", coil_path);
    keep("foot.wav", "foot", "10k", folder.put("elsewhere.json", elsewhere).string());
    ASSERT_EQ(coldtune({"report", book, "--out", page}).code, 0);
    const std::string of_book = coldtune::testing::bytes_of(page);
    for (const char* word : {"run 1 ten, tap at 10 turns", "run 2 foot", "version 2 of the description"}) {
        EXPECT_TRUE(of_book.find(word) != std::string::npos) << word;
    }
    EXPECT_TRUE(of_book.find("do not belong together") == std::string::npos);

    const auto json = coldtune(
        {"tune", "--secondary", secondary, "--tap", "8=" + eight, "--primary", ten, "--coil", coil_path, "--json"});
    EXPECT_EQ(json.code, 0) << json.err;
    const auto object = nlohmann::json::parse(json.out);
    EXPECT_EQ(object["schema"], "coldtune.tune.v1");
    EXPECT_EQ(object["verdict"], "move-tap");
    const double tap = object["tuning"]["advice"]["tap_turns"].get<double>();
    // What counts is where the tank lands: the promised 0.2 % after two taps.
    EXPECT_NEAR(hz(true_tank(tap)) / hz(true_tank(wanted)), 1, 0.002);
    EXPECT_LE(std::abs(tap - wanted), object["tuning"]["advice"]["tap_u95_turns"].get<double>());
    EXPECT_EQ(object["tuning"]["taps"].size(), 2U);
    EXPECT_EQ(object["steps"].back()["key"], "before-power");
    EXPECT_FALSE(object["reminders"].empty());

    // Measured where it was advised, it is tuned.
    const auto there = tank_at(tap, "there");
    const auto done = coldtune(
        {"tune", "--secondary", secondary, "--tap", std::to_string(tap) + "=" + there, "--coil", coil_path, "--json"});
    EXPECT_EQ(nlohmann::json::parse(done.out)["verdict"], "tuned");

    // The secondary without its top load is refused, with the object and one line.
    auto bare = described;
    bare.topload.clear();
    const auto bare_path = folder.put("bare.json", test::written({.frequency_hz = 80e3, .description = bare})).string();
    const auto refused = coldtune({"tune", "--secondary", bare_path, "--primary", ten, "--coil", coil_path, "--json"});
    EXPECT_EQ(refused.code, 4);
    EXPECT_TRUE(nlohmann::json::parse(refused.out)["tuning"].is_null());
    EXPECT_EQ(std::count(refused.err.begin(), refused.err.end(), '\n'), 1);
    const std::string rejection = tuning_in_report(bare_path, {"--coil", coil_path});
    EXPECT_THAT(rejection, HasSubstr("Rejected: the measurements do not belong together"));
    EXPECT_THAT(rejection, Not(HasSubstr("turn mark")));

    EXPECT_EQ(coldtune({"tune", "--secondary", secondary, "--coil", coil_path}).code, 2);  // no tap
    EXPECT_EQ(coldtune({"tune", "--secondary", secondary, "--tap", "rubbish", "--coil", coil_path}).code, 2);
    EXPECT_EQ(coldtune({"tune", "--secondary", secondary, "--tap", "15=" + ten, "--coil", coil_path}).code, 2);
    EXPECT_EQ(coldtune({"tune", "--secondary", secondary, "--primary", coil_path, "--coil", coil_path}).code, 3);
    EXPECT_EQ(
        coldtune({"tune", "--secondary", secondary, "--primary", ten, "--coil", coil_path, "--allowance", "40%"}).code,
        2);
    EXPECT_EQ(coldtune({"tune", "--help"}).code, 0);
}

}  // namespace
}  // namespace coldtune
