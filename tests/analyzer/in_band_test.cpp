// The main job in numbers: what a capture of a known coil gives, with and without standards.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/measure/standard_gain.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using measure::Verdict;
using test::SweepShape;

// Zero of the reactance of series R-L-C with C_s across it, by bisection on Im Y: nothing of the program is used.
double zero_reactance_hz(const bench::LumpedCoil& coil) {
    const auto reactance = [&](double f) {
        const std::complex<double> jw(0, 2 * std::numbers::pi * f);
        const auto& b = coil.branches.front();
        const auto y =
            1.0 / (b.resistance_ohm + jw * b.inductance_h + 1.0 / (jw * b.capacitance_f)) + jw * coil.stray_f;
        return y.imag();
    };
    const auto& b = coil.branches.front();
    const double f0 = 1 / (2 * std::numbers::pi * std::sqrt(b.inductance_h * b.capacitance_f));
    double low = f0 * (1 - 1e-3), high = f0 * (1 + 1e-2);
    if (!(reactance(low) > 0 && reactance(high) < 0)) return f0;
    for (int i = 0; i < 200; ++i) {
        const double mid = 0.5 * (low + high);
        (reactance(mid) > 0 ? low : high) = mid;
    }
    return low;
}

bench::Bench noisy_bench(double frequency_hz, double q, std::uint64_t seed) {
    bench::Bench bench;
    // A winding of plausible size for its frequency: reactance about 25 kohm at resonance.
    bench.coil = test::series_coil(frequency_hz, q, 25e3 / (2 * std::numbers::pi * frequency_hz), 8e-12);
    bench.interface.generator_noise_dbfs = -100;
    bench.interface.coil_noise_dbfs = -100;
    bench.interface.bits = 24;
    bench.wiring.lead_ohm = 0.15;
    bench.wiring.lead_h = 0.6e-6;
    bench.wiring.coil_input.gain = 0.991;
    bench.wiring.reference_ohm = 10.06e3;
    bench.seed = seed;
    return bench;
}

struct Case {
    double frequency_hz;
    double q;
};

class InBand : public testing::TestWithParam<Case> {};

// Enough bins across the resonance, as the two-step sweep sees to.
SweepShape shape_for(const Case& c) {
    SweepShape shape;
    const double wanted = 10 * shape.rate_hz * c.q / c.frequency_hz;
    shape.period = dsp::choose_period(static_cast<std::size_t>(std::max(131072.0, wanted)));
    shape.periods = shape.period > 300000 ? 4 : 6;
    return shape;
}

TEST_P(InBand, AllThreeStandardsGiveFrequencyWithin100PpmAndQWithin1Percent) {
    const Case c = GetParam();
    const bench::Bench bench = noisy_bench(c.frequency_hz, c.q, 11);
    const SweepShape shape = shape_for(c);
    auto request = test::request_for(bench, test::capture(bench, bench::Hookup::foot, shape));
    test::add_standards(request, bench, shape);
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok()) << result.error().message;
    const auto* r = result->resonance();
    ASSERT_NE(r, nullptr) << (result->findings.empty() ? "" : result->findings.front().text);
    const double truth = zero_reactance_hz(std::get<bench::LumpedCoil>(bench.coil));
    // The tolerances are the figures promised for this arrangement.
    EXPECT_NEAR(r->frequency_hz / truth, 1, 100e-6);
    EXPECT_NEAR(*r->q / c.q, 1, 0.01);
    EXPECT_LT(std::abs(r->frequency_hz - truth), r->frequency_u95_hz * 1.5);
    EXPECT_EQ(result->verdict(), Verdict::good);
    RecordProperty("frequency_error_ppm", std::to_string((r->frequency_hz / truth - 1) * 1e6));
    RecordProperty("q_error_percent", std::to_string((*r->q / c.q - 1) * 100));
}

TEST_P(InBand, WithoutStandardsFrequencyIsWithin2PerMilleAndSaidToBeUncorrected) {
    const Case c = GetParam();
    const bench::Bench bench = noisy_bench(c.frequency_hz, c.q, 12);
    const auto request = test::request_for(bench, test::capture(bench, bench::Hookup::foot, shape_for(c)));
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok()) << result.error().message;
    const auto* r = result->resonance();
    ASSERT_NE(r, nullptr) << (result->findings.empty() ? "" : result->findings.front().text);
    const double truth = zero_reactance_hz(std::get<bench::LumpedCoil>(bench.coil));
    EXPECT_NEAR(r->frequency_hz / truth, 1, 2e-3);
    EXPECT_LT(std::abs(r->frequency_hz - truth), r->frequency_u95_hz * 1.5);
    EXPECT_EQ(result->verdict(), Verdict::caution);
    ASSERT_FALSE(result->findings.empty());
    EXPECT_EQ(result->findings.back().code, measure::FindingCode::uncorrected);
}

INSTANTIATE_TEST_SUITE_P(Coils, InBand,
                         testing::Values(Case{2e3, 20}, Case{2e3, 400}, Case{5e3, 60}, Case{12e3, 150}, Case{30e3, 20},
                                         Case{30e3, 400}, Case{63e3, 180}, Case{80e3, 20}, Case{80e3, 400},
                                         Case{85e3, 250}),
                         [](const testing::TestParamInfo<Case>& coil) {
                             return std::to_string(static_cast<int>(coil.param.frequency_hz)) + "HzQ" +
                                    std::to_string(static_cast<int>(coil.param.q));
                         });

// The declared tolerances of what was not measured must be in the budget, and gone once it is measured.
TEST(InBandBudget, HoldsWhatWasDeclaredAndDropsWhatWasMeasured) {
    const bench::Bench bench = noisy_bench(63e3, 120, 3);
    auto request = test::request_for(bench, test::capture(bench, bench::Hookup::foot));
    const auto sources = [](const measure::MeasurementResult& result) {
        std::vector<std::string> names;
        for (const auto& line : result.resonance()->budget) names.push_back(line.source);
        return names;
    };
    const auto bare = measure::analyze(request);
    ASSERT_TRUE(bare.ok() && bare->resonance() != nullptr);
    EXPECT_THAT(sources(*bare), testing::IsSupersetOf({"noise", "clock", "reference resistor", "input capacitance",
                                                       "lead", "crosstalk of the inputs"}));
    test::add_standards(request, bench);
    const auto full = measure::analyze(request);
    ASSERT_TRUE(full.ok() && full->resonance() != nullptr);
    EXPECT_THAT(sources(*full), testing::ElementsAre("noise", "form of the loss", "steadiness of the inputs", "clock",
                                                     "load standard"));
    EXPECT_LT(*full->resonance()->q_u95, *bare->resonance()->q_u95);
}

// What one input takes from its neighbour, -80 dB at 10 kHz and rising: the coil's own 5 ohm are hardly more than what
// 10 kohm times that looks like.
TEST(InBandBudget, HoldsWhatTheInputsLeakWithoutAShort) {
    bench::Bench bench = noisy_bench(5.7e3, 64, 3);
    bench.coil = test::series_coil(5.7e3, 64, 9e-3, 8e-12);
    const auto leaking = [](audio::CaptureFile file) {
        auto& c = file.capture;
        // A derivative: j w, within (w dt)^2 / 6 = 0.6 % at 5.7 kHz.
        const double scale = 1e-4 * c.sample_rate_hz / (2 * 2 * std::numbers::pi * 10e3);
        for (std::size_t i = 1; i + 1 < c.frames(); ++i) {
            c.coil[i] += scale * (c.generator[i + 1] - c.generator[i - 1]);
        }
        return file;
    };
    const SweepShape shape{.period = 192000, .periods = 5};
    auto request = test::request_for(bench, leaking(test::capture(bench, bench::Hookup::foot, shape)));
    request.open = test::standard(bench, bench::Hookup::open, shape);
    request.open->file = leaking(std::move(request.open->file));
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok() && result->resonance() != nullptr);
    const double truth_hz = zero_reactance_hz(std::get<bench::LumpedCoil>(bench.coil));
    const double off_hz = std::abs(result->resonance()->frequency_hz - truth_hz);
    EXPECT_GT(off_hz, 400e-6 * truth_hz);  // or there would be nothing to cover
    EXPECT_LT(off_hz, result->resonance()->frequency_u95_hz);
    request.short_circuit = test::standard(bench, bench::Hookup::short_circuit, shape);
    request.short_circuit->file = leaking(std::move(request.short_circuit->file));
    const auto shorted = measure::analyze(request);
    ASSERT_TRUE(shorted.ok() && shorted->resonance() != nullptr);
    EXPECT_NEAR(shorted->resonance()->frequency_hz, truth_hz, shorted->resonance()->frequency_u95_hz);
    EXPECT_LT(shorted->resonance()->frequency_u95_hz, 0.3 * result->resonance()->frequency_u95_hz);
}

// What is promised of a standard is what using it brings.
TEST(StandardGain, IsWhatTheStandardBrings) {
    const bench::Bench bench = noisy_bench(60e3, 120, 21);
    const auto request = test::request_for(bench, test::capture(bench, bench::Hookup::foot));
    auto context = measure::prepare(request);
    ASSERT_TRUE(context.ok());
    const auto gains = measure::gains_of_standards(request, *context);
    ASSERT_EQ(gains.size(), 3U);
    for (const auto& gain : gains) {
        auto with = request;
        (gain.standard == bench::Hookup::open            ? with.open
         : gain.standard == bench::Hookup::short_circuit ? with.short_circuit
                                                         : with.load) = test::standard(bench, gain.standard);
        const auto result = measure::analyze(with);
        ASSERT_TRUE(result.ok() && result->resonance() != nullptr);
        const double frequency = result->resonance()->frequency_u95_hz / gain.frequency_u95_hz;
        const double q = *result->resonance()->q_u95 / gain.q_u95.value_or(0);
        if (gain.standard == bench::Hookup::load) {
            // Without the open standard the cable still counts, and how much depends on how far it is from declared.
            EXPECT_LE(frequency, 1.1);
            EXPECT_LE(q, 1.2);
            continue;
        }
        EXPECT_NEAR(frequency, 1, 0.1);
        EXPECT_NEAR(q, 1, 0.2);
    }
    // What is there already is not promised again.
    auto corrected = request;
    test::add_standards(corrected, bench);
    auto whole = measure::prepare(corrected);
    ASSERT_TRUE(whole.ok());
    EXPECT_TRUE(measure::gains_of_standards(corrected, *whole).empty());
}

}  // namespace
}  // namespace coldtune
