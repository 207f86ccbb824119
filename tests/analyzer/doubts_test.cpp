// What a measurement says against itself, each with the bench next to it that must not be doubted.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/measure/steadiness.hpp"
#include "tests/support/capture_faults.hpp"

namespace coldtune {
namespace {

using bench::Bench;
using bench::Hookup;
using measure::Finding;
using measure::FindingCode;
using measure::MeasurementResult;
using measure::Verdict;

constexpr double kTruth_hz = 62e3;  // the stray of 8 pF moves the zero of the reactance by 0.02 half-widths

Bench healthy() {
    Bench bench;
    bench.coil = test::series_coil(kTruth_hz, 100, 60e-3, 1e-12);
    bench.seed = 5;
    return bench;
}

test::FaultScene scene_of(const Bench& bench) {
    test::FaultScene scene;
    scene.bench = scene.standards = bench;
    scene.shape.period = 32768;
    scene.shape.periods = 5;
    scene.use_open = true;
    return scene;
}

MeasurementResult measured(const test::FaultScene& scene) {
    auto result = measure::analyze(test::record_scene(scene));
    EXPECT_TRUE(result.ok()) << (result.ok() ? "" : result.error().message);
    return result.ok() ? std::move(*result) : MeasurementResult{};
}

std::string said(const std::vector<Finding>& findings) {
    std::string out;
    for (const auto& f : findings) out += std::string(measure::code_name(f.code)) + ": " + f.text + "\n";
    return out;
}

// A finding of this code whose text holds these words.
bool says(const std::vector<Finding>& findings, FindingCode code, const char* words) {
    return std::any_of(findings.begin(), findings.end(),
                       [&](const Finding& f) { return f.code == code && f.text.find(words) != std::string::npos; });
}

void expect_good(const MeasurementResult& result) {
    EXPECT_EQ(result.verdict(), Verdict::good) << said(result.findings);
    ASSERT_NE(result.resonance(), nullptr);
    EXPECT_NEAR(result.resonance()->frequency_hz, kTruth_hz, result.resonance()->frequency_u95_hz);
}

void expect_caution(const MeasurementResult& result, FindingCode code, const char* words) {
    EXPECT_EQ(result.verdict(), Verdict::caution) << said(result.findings);
    EXPECT_TRUE(says(result.findings, code, words)) << said(result.findings);
}

// --- steadiness

TEST(Doubts, AHandThatComesNearMovesTheResonanceAndIsSaid) {
    auto scene = scene_of(healthy());
    scene.use_short = true;  // what the leads might be would hide the hand's share of the interval
    expect_good(measured(scene));
    const auto still = measured(scene);
    // A twentieth of a picofarad on 110 pF: 14 Hz, from the middle of the sweep on.
    scene.bench.faults.changes.push_back({bench::DeviceChange::Kind::added_capacitance, 0.5, 1, 0.05, 0.05e-12});
    const auto touched = measured(scene);
    expect_caution(touched, FindingCode::nonlinear, "the resonance moved by");
    // What the periods tell of it goes into the interval, which holds the coil with and without the hand.
    EXPECT_GT(touched.resonance()->frequency_u95_hz, 2 * still.resonance()->frequency_u95_hz);
    EXPECT_NEAR(touched.resonance()->frequency_hz, kTruth_hz, touched.resonance()->frequency_u95_hz);
    EXPECT_EQ(touched.resonance()->budget.back().source, "unsteadiness");
}

// The same sweep from a recorder that wrote no note, read without a period.
measure::AnalysisRequest without_period(const test::FaultScene& scene) {
    auto request = test::record_scene(scene);
    request.period_frames.reset();
    request.coil.note.reset();
    return request;
}

TEST(Doubts, AHandThatComesNearIsSaidWithoutAKnownPeriod) {
    auto scene = scene_of(healthy());
    scene.shape.periods = 24;  // averaged spectra part what lies 0.2 Hz apart
    const auto still = measure::analyze(without_period(scene));
    ASSERT_TRUE(still.ok()) << still.error().message;
    EXPECT_EQ(still->verdict(), Verdict::good) << said(still->findings);
    ASSERT_NE(still->resonance(), nullptr);
    EXPECT_NEAR(still->resonance()->frequency_hz, kTruth_hz, still->resonance()->frequency_u95_hz);
    // From 0.02 % of the frequency for half of the time to more than a bandwidth: what moves the peak is seen in the
    // parts of the capture, what moves it away makes a second one.
    for (const double added_f : {0.05e-12, 0.15e-12, 0.5e-12, 1.1e-12, 3e-12}) {
        auto moving = scene;
        moving.bench.faults.changes.push_back({bench::DeviceChange::Kind::added_capacitance, 2, 3, 0.05, added_f});
        const auto touched = measure::analyze(without_period(moving));
        ASSERT_TRUE(touched.ok()) << touched.error().message;
        EXPECT_NE(touched->verdict(), Verdict::good) << added_f << said(touched->findings);
        if (added_f < 0.3e-12) {
            EXPECT_TRUE(says(touched->findings, FindingCode::nonlinear, "between the parts of the capture"))
                << added_f << said(touched->findings);
        }
    }
}

// One pass over the band: nobody can know whether the coil held still, and that is said without a verdict.
TEST(Doubts, ASinglePassSaysThatItShowsNoMotion) {
    const auto words = "each frequency was heard once";
    auto scene = scene_of(healthy());
    scene.shape.periods = 24;
    const auto repeated = measure::analyze(without_period(scene));
    ASSERT_TRUE(repeated.ok());
    EXPECT_FALSE(says(repeated->findings, FindingCode::nonlinear, words)) << said(repeated->findings);

    dsp::LogarithmicSweep sweep;
    sweep.sample_rate_hz = scene.shape.rate_hz;
    sweep.duration_s = 6;
    sweep.band = {1000, 86400};
    sweep.fade_frames = 500;
    sweep.lead_in_frames = sweep.lead_out_frames = 20000;
    audio::SweepRequest play;
    play.device = "simulated";
    play.sample_rate_hz = sweep.sample_rate_hz;
    play.stimulus = *dsp::render(sweep);
    const auto recording = bench::make_simulated_port(scene.bench, Hookup::foot)->play_and_record(play, {}, {});
    ASSERT_TRUE(recording.ok());
    auto request = without_period(scene);
    request.coil.capture = recording->capture;
    const auto once = measure::analyze(request);
    ASSERT_TRUE(once.ok());
    ASSERT_NE(once->resonance(), nullptr) << said(once->findings);
    EXPECT_EQ(once->verdict(), Verdict::good) << said(once->findings);
    EXPECT_TRUE(says(once->findings, FindingCode::nonlinear, words)) << said(once->findings);
}

TEST(Doubts, APeriodLeftOutIsSaid) {
    auto scene = scene_of(healthy());
    // Open for 20 ms while the sweep passes the resonance in one period.
    const double at_s = scene.settled_s() + 1.70 * static_cast<double>(scene.shape.period) / scene.shape.rate_hz;
    scene.bench.faults.changes.push_back({bench::DeviceChange::Kind::contact_lost, at_s, 0.02, 0, 0});
    const auto result = measured(scene);
    EXPECT_NE(result.verdict(), Verdict::good) << said(result.findings);
    EXPECT_TRUE(says(result.findings, FindingCode::nonlinear, "")) << said(result.findings);
}

TEST(Doubts, ARoughCurveBelowTheBandIsSaid) {
    measure::Resonance resonance;
    resonance.way = measure::Way::below_band;
    resonance.frequency_hz = 150e3;
    resonance.frequency_u95_hz = 1e3;
    resonance.degrees_of_freedom = 150;
    dsp::Response response;
    response.of_periods.resize(1);  // whole periods; nothing to compare
    for (const auto& [chi_square, doubtful] : {std::pair{150.0, false}, std::pair{600.0, true}}) {
        resonance.chi_square = chi_square;
        std::vector<Finding> findings;
        measure::judge_steadiness(response, resonance, findings);
        EXPECT_EQ(!findings.empty(), doubtful) << chi_square;
    }
}

// --- the clock and the level

TEST(Doubts, HumBesideItsPlaceTellsAWrongRate) {
    Bench bench = healthy();
    bench.hum = bench::Hum{};
    auto scene = scene_of(bench);
    scene.shape.periods = 6;
    expect_good(measured(scene));
    scene.every_capture = [](dsp::TwoChannelCapture& c) { c.sample_rate_hz *= 44.1 / 48; };
    expect_caution(measured(scene), FindingCode::rate_mismatch, "45.9");
}

TEST(Doubts, ASweepThatLostItsPeriodIsRejected) {
    auto scene = scene_of(healthy());
    test::FaultDraw draw{std::mt19937_64(1)};
    test::capture_fault("rates differ").apply(scene, 0, draw);
    const auto result = measured(scene);
    EXPECT_EQ(result.verdict(), Verdict::rejected);
    EXPECT_TRUE(says(result.findings, FindingCode::rate_mismatch, "32768 frames")) << said(result.findings);
}

TEST(Doubts, AutomaticGainIsSaid) {
    Bench bench = healthy();
    bench.faults.automatic_gain_dbfs = -20;
    bench.faults.automatic_gain_s = 0.3;
    auto scene = scene_of(healthy());
    scene.bench = bench;
    const auto result = measured(scene);
    EXPECT_NE(result.verdict(), Verdict::good);
    EXPECT_TRUE(says(result.findings, FindingCode::nonlinear, "automatic gain")) << said(result.findings);
}

// --- the declared bench

TEST(Doubts, TheLoadTellsAnotherReferenceResistor) {
    Bench bench = healthy();
    bench.wiring.reference_ohm = 10.5e3;  // a 5 % resistor declared as what is written on it
    auto scene = scene_of(bench);
    scene.use_short = scene.use_load = true;
    expect_good(measured(scene));
    bench.wiring.reference_ohm = 12e3;
    scene.bench = scene.standards = bench;
    const auto result = measured(scene);
    expect_caution(result, FindingCode::correction_stale, "12.0 kohm");
    // With all three standards it does not matter.
    EXPECT_NEAR(result.resonance()->frequency_hz, kTruth_hz, result.resonance()->frequency_u95_hz);
}

TEST(Doubts, TheOpenLeadTellsAReferenceOfAnotherDecade) {
    Bench bench = healthy();
    bench.wiring.coil_input.cable_f = 300e-12;  // three metres of cable, 150 pF declared: nothing wrong with that
    expect_good(measured(scene_of(bench)));
    bench.wiring.coil_input.cable_f = 150e-12;
    bench.wiring.reference_ohm = 100e3;
    expect_caution(measured(scene_of(bench)), FindingCode::correction_stale, "check the resistor's value");
}

TEST(Doubts, AShortStandardThatIsNoneIsRejected) {
    auto scene = scene_of(healthy());
    scene.use_short = true;
    scene.standards.wiring.missing_return_f = 100e-12;
    const auto result = measured(scene);
    EXPECT_EQ(result.verdict(), Verdict::rejected) << said(result.findings);
    EXPECT_TRUE(says(result.findings, FindingCode::correction_stale, "the short looks like")) << said(result.findings);
}

TEST(Doubts, AMonitorLoopIsSaidUnlessTheStandardsTakeItOut) {
    auto scene = scene_of(healthy());
    scene.every_capture = [](dsp::TwoChannelCapture& c) {
        for (std::size_t i = c.coil.size(); i-- > 96;) c.coil[i] += 0.003 * c.generator[i - 96];  // -50 dB, 0.5 ms
    };
    expect_caution(measured(scene), FindingCode::correction_stale, "ripples");
    scene.use_short = scene.use_load = true;
    expect_good(measured(scene));
}

TEST(Doubts, AHeadOnGroundIsSaid) {
    auto scene = scene_of(healthy());
    scene.wired = Hookup::winding;
    const auto result = measured(scene);
    EXPECT_EQ(result.verdict(), Verdict::rejected);
    EXPECT_TRUE(says(result.findings, FindingCode::shorted, "the head touches")) << said(result.findings);
    scene.wired = Hookup::open;  // noise of either sign
    EXPECT_FALSE(says(measured(scene).findings, FindingCode::shorted, ""));
}

TEST(Doubts, TheShortStandardOfAGoodBenchHasNoFindings) {
    Bench bench = healthy();
    bench.hum = bench::Hum{};
    for (const int bits : {16, 24}) {
        bench.interface.bits = bits;
        auto scene = scene_of(bench);
        scene.wired = Hookup::short_circuit;
        auto request = test::record_scene(scene);
        request.open.reset();
        request.hookup = Hookup::short_circuit;
        const auto result = measure::analyze(request);
        ASSERT_TRUE(result.ok());
        EXPECT_TRUE(result->findings.empty()) << bits << said(result->findings);
    }
}

TEST(Doubts, InputsSwappedFromTheStandardsOnAreStillCalledSwapped) {
    auto scene = scene_of(healthy());
    scene.use_short = scene.use_load = true;
    scene.both([](Bench& b) { b.faults.swapped_inputs = true; });
    const auto result = measured(scene);
    EXPECT_EQ(result.verdict(), Verdict::rejected);
    EXPECT_TRUE(says(result.findings, FindingCode::inputs_swapped, "")) << said(result.findings);
}

}  // namespace
}  // namespace coldtune
