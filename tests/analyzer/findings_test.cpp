// Every finding: a bench that must provoke it, and one next to it that must not.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/evidence.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using bench::Bench;
using bench::Hookup;
using measure::FindingCode;
using measure::MeasurementResult;
using measure::Verdict;
using measure::Weight;
using test::SweepShape;

const measure::Finding* find(const MeasurementResult& result, FindingCode code) {
    const auto it =
        std::find_if(result.findings.begin(), result.findings.end(), [&](const auto& f) { return f.code == code; });
    return it == result.findings.end() ? nullptr : &*it;
}

std::string said(const MeasurementResult& result) {
    std::string out;
    for (const auto& f : result.findings) out += std::string(measure::code_name(f.code)) + ": " + f.text + "\n";
    return out;
}

// A healthy bench: 62 kHz, Q 150, good leads, open standard at hand.
Bench healthy() {
    Bench bench;
    bench.coil = test::series_coil(62e3, 150, 60e-3, 8e-12);
    bench.seed = 5;
    return bench;
}

SweepShape quick() {
    SweepShape shape;
    shape.period = 64000;
    shape.periods = 6;
    return shape;
}

MeasurementResult run(const Bench& bench, const Bench& standards_bench, const SweepShape& shape = quick(),
                      Hookup hookup = Hookup::foot) {
    auto request = test::request_for(bench, test::capture(bench, hookup, shape), hookup);
    test::add_standards(request, standards_bench, shape);
    auto result = measure::analyze(request);
    EXPECT_TRUE(result.ok()) << (result.ok() ? "" : result.error().message);
    return result.ok() ? std::move(*result) : MeasurementResult{};
}

MeasurementResult run(const Bench& bench, const SweepShape& shape = quick()) {
    return run(bench, healthy(), shape);
}

TEST(Findings, ACurveThatIsNoSingleResonanceIsCautioned) {
    Bench bench = healthy();
    auto& coil = std::get<bench::LumpedCoil>(bench.coil);
    const auto alone = coil.branches.front();
    EXPECT_EQ(find(run(bench), FindingCode::several_peaks), nullptr) << said(run(bench));
    // A third of a bandwidth above it a second coil of three times the Q and a quarter of the current.
    auto other = alone;
    other.inductance_h *= 12, other.resistance_ohm *= 4;
    other.capacitance_f = alone.capacitance_f / 12 / std::pow(1 + 1 / (3 * 150.0), 2);
    coil.branches.push_back(other);
    const auto result = run(bench);
    ASSERT_NE(result.resonance(), nullptr) << said(result);
    const auto* finding = find(result, FindingCode::several_peaks);
    ASSERT_NE(finding, nullptr) << result.resonance()->misfit;
    EXPECT_EQ(finding->weight, Weight::caution);
    EXPECT_NE(finding->text.find("departs from a single resonance"), std::string::npos) << finding->text;
    EXPECT_EQ(result.resonance()->budget.at(1).source, "form of the loss");
    EXPECT_EQ(result.resonance()->budget.at(3).source, "form of the curve");
}

void expect_rejected(const MeasurementResult& result, FindingCode code) {
    EXPECT_EQ(result.verdict(), Verdict::rejected) << said(result);
    EXPECT_NE(find(result, code), nullptr) << "expected " << measure::code_name(code) << ", got\n" << said(result);
    EXPECT_EQ(result.resonance(), nullptr) << "a rejected capture must have no resonance";
    EXPECT_FALSE(result.difference_percent().has_value());
}

TEST(Findings, AHealthyBenchHasNone) {
    const auto result = run(healthy());
    EXPECT_EQ(result.verdict(), Verdict::good) << said(result);
    EXPECT_TRUE(result.findings.empty()) << said(result);
    ASSERT_NE(result.resonance(), nullptr);
}

TEST(Findings, ClippedAtEitherInput) {
    Bench bench = healthy();
    bench.interface.clip_level = 0.2;  // the sweep peaks at 0.35 there
    expect_rejected(run(bench), FindingCode::clipped);
}

TEST(Findings, AFullScaleSweepThatJustFitsIsNotClipped) {
    Bench bench = healthy();
    bench.interface.output_full_scale_v = 2.0;
    bench.wiring.source_ohm = 0.1;
    SweepShape shape = quick();
    shape.level_dbfs = -0.1;
    const auto result = run(bench, shape);
    EXPECT_EQ(find(result, FindingCode::clipped), nullptr) << said(result);
}

TEST(Findings, DropoutOfZerosRepeatedLostAndInsertedBlocks) {
    using Kind = bench::BlockFault::Kind;
    for (Kind kind : {Kind::zeros, Kind::repeated, Kind::lost, Kind::inserted}) {
        Bench bench = healthy();
        bench.faults.blocks.push_back({kind, 200000, 512});
        SCOPED_TRACE(static_cast<int>(kind));
        expect_rejected(run(bench), FindingCode::dropout);
    }
}

TEST(Findings, TooQuietWithNothingOnTheGeneratorSide) {
    Bench bench = healthy();
    SweepShape shape = quick();
    shape.level_dbfs = -75;
    expect_rejected(run(bench, shape), FindingCode::too_quiet);
}

TEST(Findings, TwentyDecibelsLessIsNotTooQuiet) {
    SweepShape shape = quick();
    shape.level_dbfs = -26;
    const auto result = run(healthy(), shape);
    EXPECT_EQ(find(result, FindingCode::too_quiet), nullptr) << said(result);
}

TEST(Findings, HumIsACautionAndTheResonanceStands) {
    Bench bench = healthy();
    bench.hum = bench::Hum{};
    bench.hum->level_dbfs = -20;
    const auto result = run(bench);
    EXPECT_EQ(result.verdict(), Verdict::caution) << said(result);
    ASSERT_NE(find(result, FindingCode::hum), nullptr) << said(result);
    ASSERT_NE(result.resonance(), nullptr);
    EXPECT_NEAR(result.resonance()->frequency_hz, 62e3, 62e3 * 100e-6);
}

TEST(Findings, HumFarBelowTheSweepIsNotMentioned) {
    Bench bench = healthy();
    bench.hum = bench::Hum{};
    bench.hum->level_dbfs = -85;
    EXPECT_EQ(find(run(bench), FindingCode::hum), nullptr);
}

TEST(Findings, ClockDriftIsSaidAndRemoved) {
    for (double ppm : {-40.0, 3.0, 30.0}) {
        SCOPED_TRACE(ppm);
        Bench bench = healthy();
        bench.interface.clock_drift_ppm = ppm;
        const auto result = run(bench);
        const auto* finding = find(result, FindingCode::clock_drift);
        ASSERT_NE(finding, nullptr) << said(result);
        EXPECT_EQ(finding->weight, Weight::note);
        ASSERT_NE(result.resonance(), nullptr) << said(result);
        // Either clock may be the true one: the result may sit at either, and the interval must hold both.
        EXPECT_NEAR(result.resonance()->frequency_hz, 62e3, 62e3 * (std::abs(ppm) + 20) * 1e-6);
        ASSERT_TRUE(result.clock_drift_ppm.has_value());
        EXPECT_NEAR(*result.clock_drift_ppm, ppm, 0.3);  // the estimate promises far better than 1 ppm
    }
}

TEST(Findings, GrossClockDriftIsACaution) {
    Bench bench = healthy();
    bench.interface.clock_drift_ppm = 180;
    const auto result = run(bench);
    ASSERT_NE(find(result, FindingCode::clock_drift), nullptr) << said(result);
    EXPECT_EQ(result.verdict(), Verdict::caution) << said(result);
}

TEST(Findings, NonlinearCoilSide) {
    Bench bench = healthy();
    bench.interface.coil_nonlinearity.second_db = -34;
    bench.interface.coil_nonlinearity.third_db = -34;
    const auto result = run(bench);
    EXPECT_NE(find(result, FindingCode::nonlinear), nullptr) << said(result);
    EXPECT_NE(result.verdict(), Verdict::good);
}

TEST(Findings, DistortionOfTheOutputAloneIsHarmless) {
    Bench bench = healthy();
    bench.interface.output_nonlinearity.second_db = -50;  // both inputs see it alike: the ratio does not
    const auto result = run(bench);
    EXPECT_EQ(find(result, FindingCode::nonlinear), nullptr) << said(result);
    ASSERT_NE(result.resonance(), nullptr) << said(result);
    EXPECT_NEAR(result.resonance()->frequency_hz, 62e3, 62e3 * 100e-6);
}

TEST(Findings, NoCoilWithTheClipInTheAir) {
    const Bench bench = healthy();
    auto request = test::request_for(bench, test::capture(bench, Hookup::open, quick()));
    auto result = measure::analyze(request);  // without standards
    ASSERT_TRUE(result.ok());
    expect_rejected(*result, FindingCode::no_coil);
    test::add_standards(request, bench, quick());
    result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    expect_rejected(*result, FindingCode::no_coil);
}

TEST(Findings, ShortedLead) {
    const Bench bench = healthy();
    const auto request = test::request_for(bench, test::capture(bench, Hookup::short_circuit, quick()));
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    expect_rejected(*result, FindingCode::shorted);
}

TEST(Findings, InputsSwapped) {
    Bench bench = healthy();
    bench.faults.swapped_inputs = true;
    expect_rejected(run(bench), FindingCode::inputs_swapped);
    // Without standards too.
    const auto bare = measure::analyze(test::request_for(bench, test::capture(bench, Hookup::foot, quick())));
    ASSERT_TRUE(bare.ok());
    expect_rejected(*bare, FindingCode::inputs_swapped);
}

TEST(Findings, ResonanceAboveTheBandIsSaidToBeThere) {
    Bench bench = healthy();
    bench.coil = test::series_coil(62e3, 150, 60e-3, 8e-12);
    SweepShape shape;
    shape.rate_hz = 96000;
    shape.period = 32768;
    const auto result = run(bench, healthy(), shape);
    expect_rejected(result, FindingCode::outside_band);
    EXPECT_NE(find(result, FindingCode::outside_band)->text.find("above the band"), std::string::npos);
}

TEST(Findings, NoResonanceBehindAResistor) {
    const Bench bench = healthy();
    const auto result = measure::analyze(test::request_for(bench, test::capture(bench, Hookup::load, quick())));
    ASSERT_TRUE(result.ok());
    expect_rejected(*result, FindingCode::no_resonance);
}

TEST(Findings, SeveralPeaksAreACautionAndTheStrongestIsGiven) {
    Bench bench = healthy();
    auto coil = test::series_coil(62e3, 150, 60e-3, 8e-12);
    auto second = test::series_coil(45e3, 120, 150e-3, 0);
    coil.branches.push_back(second.branches.front());
    bench.coil = coil;
    const auto result = run(bench);
    EXPECT_EQ(result.verdict(), Verdict::caution) << said(result);
    ASSERT_NE(find(result, FindingCode::several_peaks), nullptr) << said(result);
    ASSERT_NE(result.resonance(), nullptr);
    EXPECT_NEAR(result.resonance()->frequency_hz, 62e3, 62e3 * 500e-6);
    ASSERT_EQ(result.resonance()->other_peaks_hz.size(), 1U);
    EXPECT_NEAR(result.resonance()->other_peaks_hz.front(), 45e3, 45e3 * 2e-3);
}

// A low coil has its overtone in the band as well, and that may stand taller: the resonance is the lower one all the
// same, and the other is no reason for a caution. Nearer than an octave it is another circuit.
TEST(Findings, TheFundamentalIsGivenAndNotATallerOvertone) {
    Bench bench = healthy();
    auto coil = test::series_coil(23.8e3, 150, 200e-3, 8e-12);
    const auto overtone = test::series_coil(63.5e3, 220, 60e-3, 0);
    coil.branches.push_back(overtone.branches.front());
    ASSERT_LT(overtone.branches.front().resistance_ohm, coil.branches.front().resistance_ohm);
    bench.coil = coil;
    const auto result = run(bench);
    ASSERT_NE(result.resonance(), nullptr) << said(result);
    EXPECT_NEAR(result.resonance()->frequency_hz, 23.8e3, result.resonance()->frequency_u95_hz) << said(result);
    EXPECT_EQ(result.verdict(), Verdict::good) << said(result);
    ASSERT_EQ(result.resonance()->other_peaks_hz.size(), 1U);
    EXPECT_NEAR(result.resonance()->other_peaks_hz.front(), 63.5e3, 63.5e3 * 1e-3);
    const auto* note = find(result, FindingCode::several_peaks);
    ASSERT_NE(note, nullptr) << said(result);
    EXPECT_EQ(note->weight, Weight::note);
    // The whole way, two sweeps, goes there too.
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = 192000;
    settings.hookup = Hookup::foot;
    settings.bench = {10e3, 1e6, 150e-12, 0};
    const auto record = measure::run_session(*bench::make_simulated_port(bench, Hookup::foot), settings, {}, {});
    ASSERT_TRUE(record.ok()) << record.error().message;
    auto request = test::request_for(bench, record->capture);
    const auto measured = measure::analyze(request);
    ASSERT_TRUE(measured.ok());
    ASSERT_NE(measured->resonance(), nullptr) << said(*measured);
    EXPECT_NEAR(measured->resonance()->frequency_hz, 23.8e3, measured->resonance()->frequency_u95_hz);
}

TEST(Findings, StandardsOfAnotherLeadAreStale) {
    // The open standard was taken with a far longer cable: after correction the coil would have to be active.
    Bench before = healthy();
    before.wiring.coil_input.cable_f = 600e-12;
    before.wiring.coil_input.resistance_ohm = 20e3;
    const auto result = run(healthy(), before);
    EXPECT_NE(find(result, FindingCode::correction_stale), nullptr) << said(result);
    EXPECT_NE(result.verdict(), Verdict::good);
}

TEST(Findings, StandardNotedWithAnotherReferenceIsStale) {
    const Bench bench = healthy();
    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, quick()));
    request.coil.note->reference_ohm = 10e3;
    test::add_standards(request, bench, quick());
    request.open->file.note->reference_ohm = 4.7e3;
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    EXPECT_NE(find(*result, FindingCode::correction_stale), nullptr) << said(*result);
    request.open->file.note->reference_ohm = 10e3;
    const auto fresh = measure::analyze(request);
    ASSERT_TRUE(fresh.ok());
    EXPECT_EQ(find(*fresh, FindingCode::correction_stale), nullptr) << said(*fresh);
}

TEST(Findings, StandardAtAnotherRateIsAMismatch) {
    const Bench bench = healthy();
    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, quick()));
    SweepShape slow;
    slow.rate_hz = 96000;
    slow.period = 32768;
    request.open = test::standard(bench, Hookup::open, slow);
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    expect_rejected(*result, FindingCode::rate_mismatch);
}

TEST(Findings, UncorrectedOnlyWithoutAnyStandard) {
    const Bench bench = healthy();
    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, quick()));
    auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    EXPECT_NE(find(*result, FindingCode::uncorrected), nullptr);
    request.open = test::standard(bench, Hookup::open, quick());
    result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    EXPECT_EQ(find(*result, FindingCode::uncorrected), nullptr) << said(*result);
}

TEST(Findings, CodesAreTheContractsOnes) {
    // The list of the published contract, in its order.
    const std::vector<std::string> names = {"clipped",        "dropout",          "too-quiet",     "hum",
                                            "clock-drift",    "nonlinear",        "no-coil",       "shorted",
                                            "inputs-swapped", "outside-band",     "no-resonance",  "several-peaks",
                                            "uncorrected",    "correction-stale", "rate-mismatch", "unreadable"};
    ASSERT_EQ(measure::all_finding_codes().size(), names.size());
    for (std::size_t i = 0; i < names.size(); ++i)
        EXPECT_EQ(measure::code_name(measure::all_finding_codes()[i]), names[i]);
}

TEST(Findings, HeaviestWeightDecidesTheVerdict) {
    using measure::verdict_of;
    EXPECT_EQ(verdict_of({}), Verdict::good);
    EXPECT_EQ(verdict_of({{FindingCode::clock_drift, Weight::note, ""}}), Verdict::good);
    EXPECT_EQ(verdict_of({{FindingCode::clock_drift, Weight::note, ""}, {FindingCode::hum, Weight::caution, ""}}),
              Verdict::caution);
    EXPECT_EQ(verdict_of({{FindingCode::hum, Weight::caution, ""}, {FindingCode::clipped, Weight::reject, ""}}),
              Verdict::rejected);
}

// Exact zeros come from no converter: the input is off or the wrong one. The short standard alone may be that quiet.
TEST(Findings, AnInputWithoutEvenNoiseIsNotCalledAShort) {
    dsp::CaptureHealth health;
    health.generator.peak_dbfs = -6;
    health.coil.peak_dbfs = -400;
    const auto found = measure::judge_signal(health, nullptr, Hookup::foot);
    ASSERT_EQ(found.size(), 1U);
    EXPECT_EQ(found[0].code, FindingCode::too_quiet);
    EXPECT_NE(found[0].text.find("input 2 holds nothing but silence"), std::string::npos) << found[0].text;
    EXPECT_TRUE(measure::judge_signal(health, nullptr, Hookup::short_circuit).empty());
    health.coil.peak_dbfs = -110;  // noise of a shorted input
    EXPECT_TRUE(measure::judge_signal(health, nullptr, Hookup::foot).empty());
}

}  // namespace
}  // namespace coldtune
