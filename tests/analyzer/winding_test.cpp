// The winding hookup: inductance within 0.3 %, coupling within 2 %, on benches with errors of their own.
#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/measure/winding.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using bench::Hookup;

test::SweepShape quick() {
    test::SweepShape shape;
    shape.period = 64000;
    shape.periods = 6;
    return shape;
}

bench::Bench bench_with(double inductance_factor, std::uint64_t seed) {
    bench::Bench bench;
    bench::CoilOnBench coil;
    coil.description.secondary = {0.11, 0.5, 1000, 0.4e-3, 0.15, 20, {}};
    coil.description.topload.push_back(model::Toroid{0.3, 0.075, 0.09});
    coil.deviation.inductance = inductance_factor;
    bench.coil = coil;
    bench.wiring.reference_ohm = 10.07e3;
    bench.wiring.coil_input.gain = 0.993;
    bench.wiring.lead_ohm = 0.12;
    bench.wiring.lead_h = 0.5e-6;
    bench.seed = seed;
    return bench;
}

// Sum of all entries of the branch inductance: the winding with a uniform current.
double true_inductance_h(const bench::Bench& bench) {
    const auto& coil = std::get<bench::CoilOnBench>(bench.coil);
    const auto model = model::SecondaryModel::build(coil.description);
    return model->branch_inductance_h().sum() * coil.deviation.inductance;
}

measure::MeasurementResult run(const bench::Bench& bench, bool standards, const bench::Bench* shorted = nullptr) {
    auto request = test::request_for(bench, test::capture(bench, Hookup::winding, quick()), Hookup::winding);
    if (standards) test::add_standards(request, bench, quick());
    if (shorted != nullptr)
        request.shorted = measure::Standard{test::capture(*shorted, Hookup::winding, quick()), "shorted"};
    auto result = measure::analyze(request);
    EXPECT_TRUE(result.ok()) << (result.ok() ? "" : result.error().message);
    return result.ok() ? std::move(*result) : measure::MeasurementResult{};
}

const measure::Accepted* accepted(const measure::MeasurementResult& result) {
    return std::get_if<measure::Accepted>(&result.outcome);
}

TEST(Winding, InductanceWithin3PerMilleWithTheStandards) {
    for (const double factor : {0.93, 1.0, 1.05}) {
        const bench::Bench bench = bench_with(factor, 21);
        const auto result = run(bench, true);
        const auto* a = accepted(result);
        ASSERT_TRUE(a != nullptr && a->winding) << (result.findings.empty() ? "" : result.findings.front().text);
        const double truth = true_inductance_h(bench);
        EXPECT_NEAR(a->winding->inductance_h / truth, 1, 0.003);
        EXPECT_NEAR(a->winding->inductance_h, truth, a->winding->inductance_u95_h);
        EXPECT_FALSE(a->resonance.has_value());
        const auto& coil = std::get<bench::CoilOnBench>(bench.coil);
        const double copper = model::SecondaryModel::build(coil.description)->branch_resistance_ohm(1) *
                              static_cast<double>(model::SecondaryModel::build(coil.description)->sections());
        EXPECT_NEAR(a->winding->resistance_ohm, copper, std::max(0.02 * copper, a->winding->resistance_u95_ohm));
    }
}

TEST(Winding, WithoutStandardsTheIntervalHoldsTheDeclaredValues) {
    const bench::Bench bench = bench_with(1, 22);
    const auto result = run(bench, false);
    const auto* a = accepted(result);
    ASSERT_TRUE(a != nullptr && a->winding);
    EXPECT_NEAR(a->winding->inductance_h, true_inductance_h(bench), a->winding->inductance_u95_h);
    EXPECT_EQ(result.verdict(), measure::Verdict::caution);
}

// A shorted primary lowers the inductance seen by the factor 1 - k^2 (textbook, ideal primary).
TEST(Winding, CouplingWithin2PercentFrom005To025) {
    for (const double k : {0.05, 0.1, 0.18, 0.25}) {
        const bench::Bench open = bench_with(1, 31);
        const bench::Bench shorted = bench_with(1 - k * k, 32);
        const auto result = run(open, true, &shorted);
        const auto* a = accepted(result);
        ASSERT_TRUE(a != nullptr && a->coupling) << k << (result.findings.empty() ? "" : result.findings.front().text);
        EXPECT_NEAR(a->coupling->k / k, 1, 0.02) << k;
        EXPECT_NEAR(a->coupling->k, k, a->coupling->k_u95) << k;
    }
}

TEST(Winding, NoDifferenceIsNoCoupling) {
    const bench::Bench open = bench_with(1, 41);
    const bench::Bench same = bench_with(1, 42);
    const auto result = run(open, true, &same);
    EXPECT_EQ(result.verdict(), measure::Verdict::rejected);
    EXPECT_EQ(accepted(result), nullptr);
}

TEST(Winding, ExchangedCapturesAndAnotherWindingAreRefused) {
    const bench::Bench open = bench_with(1, 43);
    const bench::Bench shorted = bench_with(0.96, 44);
    const auto exchanged = run(shorted, true, &open);
    EXPECT_EQ(exchanged.verdict(), measure::Verdict::rejected);
    EXPECT_NE(exchanged.findings.front().text.find("exchanged"), std::string::npos) << exchanged.findings.front().text;
    // A winding of four times the own capacitance.
    bench::Bench other = shorted;
    std::get<bench::CoilOnBench>(other.coil).deviation.capacitance = 4;
    const auto contradiction = run(open, true, &other);
    EXPECT_EQ(contradiction.verdict(), measure::Verdict::rejected);
    EXPECT_NE(contradiction.findings.front().text.find("contradict"), std::string::npos)
        << contradiction.findings.front().text;
}

// Nodes solved at each bin and white noise of 1.3e-5 of the generator side (-100 dBFS against a sweep of -6 dBFS, five
// periods); an eighth of the bins carry the same information.
dsp::Response response_of(const bench::Bench& bench, Hookup hookup, std::mt19937_64& random) {
    const auto circuit = bench::BenchCircuit::build(bench, hookup);
    std::normal_distribution<double> normal;
    dsp::Response response;
    response.sample_rate_hz = 192000;
    const double sigma = 4.6e-6;
    for (double f = 1000; f < 86400; f += 8 * 192000.0 / 131072) {
        const auto v = circuit->solve(f);
        const std::complex<double> noise(normal(random), normal(random));
        response.frequency_hz.push_back(f);
        response.ratio.push_back(v.coil / v.generator * bench.wiring.coil_input.gain + sigma / std::sqrt(2.0) * noise);
        response.variance.push_back(sigma * sigma);
    }
    return response;
}

// 100 windings on 100 benches: the small coil, whose tied self-resonance lies above the band, and one where it lies
// inside (near 72 kHz). 95 % is claimed, 93 asked for.
TEST(Winding, CoverageOfInductanceResistanceAndCoupling) {
    std::mt19937_64 random(52);
    const auto uniform = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    constexpr int kCases = 100;
    int inductance = 0, resistance = 0, coupling = 0;
    for (int i = 0; i < kCases; ++i) {
        bench::Bench bench = bench_with(uniform(0.9, 1.1), 1);
        auto& coil = std::get<bench::CoilOnBench>(bench.coil);
        coil.q = uniform(60, 300);
        if (i % 2 == 1) {
            coil.description.secondary = {0.3, 1.2, 1800, 0.5e-3, 0.3, 20, {}};
            coil.description.topload.front() = model::Toroid{0.9, 0.2, 0.15};
        }
        bench.wiring.reference_ohm = 10e3 * uniform(0.99, 1.01);
        bench.wiring.load_ohm = 10e3 * uniform(0.999, 1.001);
        bench.wiring.coil_input.gain = uniform(0.98, 1.02);
        bench.wiring.coil_input.cable_f = uniform(100e-12, 180e-12);
        const double k = uniform(0.05, 0.25);
        bench::Bench shorted = bench;
        std::get<bench::CoilOnBench>(shorted.coil).deviation.inductance *= 1 - k * k;
        const dsp::Standards standards{response_of(bench, Hookup::open, random),
                                       response_of(bench, Hookup::short_circuit, random),
                                       response_of(bench, Hookup::load, random)};
        const dsp::BenchValues values{10e3, 1e6, 150e-12, 10e3};
        const dsp::Response tied = response_of(bench, Hookup::winding, random);
        const auto corrected = dsp::correct(tied, standards, values);
        ASSERT_TRUE(corrected.ok());
        const auto w = measure::find_winding(*corrected, tied, standards, values, {});
        ASSERT_TRUE(w.has_value()) << i;
        const double truth = true_inductance_h(bench);
        EXPECT_NEAR(w->inductance_h / truth, 1, 0.003) << i;
        inductance += std::abs(w->inductance_h - truth) <= w->inductance_u95_h ? 1 : 0;
        // At 1 kHz the own capacitance does nothing yet: (f/f_tied)^2 is under 2e-4, and known besides.
        const auto device = bench::BenchCircuit::build(bench, Hookup::winding)->device_admittance(w->window.low_hz);
        const double seen = (1.0 / *device).real() / (1 + 2 * std::pow(2 * std::numbers::pi * w->window.low_hz, 2) *
                                                              truth * w->own_capacitance_f);
        resistance += std::abs(w->resistance_ohm - seen) <= w->resistance_u95_ohm ? 1 : 0;
        // The own capacitance out of the tied admittance far below its resonance, Y = jwC + 1 / (R + jwL). The next
        // order of the distributed coil is (8/72)^2, some 1 %, and 0.03 % of the inductance is 3 % of C there.
        const double at = 2 * std::numbers::pi * 8e3;
        const auto y = *bench::BenchCircuit::build(bench, Hookup::winding)->device_admittance(8e3);
        const double reactance = at * truth;
        double series = 0;
        for (int step = 0; step < 20; ++step) series = y.real() * (series * series + reactance * reactance);
        const double own = (y.imag() + reactance / (series * series + reactance * reactance)) / at;
        EXPECT_NEAR(w->own_capacitance_f, own, 0.03 * own + w->own_capacitance_u95_f) << i;
        const auto outcome =
            measure::find_coupling(tied, response_of(shorted, Hookup::winding, random), standards, values, {});
        const auto* c = std::get_if<measure::Coupling>(&outcome);
        ASSERT_NE(c, nullptr) << i;
        EXPECT_NEAR(c->k / k, 1, 0.02) << i;
        coupling += std::abs(c->k - k) <= c->k_u95 ? 1 : 0;
        EXPECT_EQ(w->resistance_curve.size(), 13U);
        EXPECT_GT(w->resistance_curve.back().resistance_ohm, w->resistance_ohm);  // skin effect
        if (i % 2 == 1) {
            EXPECT_LT(w->window.high_hz, 45e3);  // well below the tied self-resonance
        }
    }
    RecordProperty("covered_inductance", inductance);
    RecordProperty("covered_resistance", resistance);
    RecordProperty("covered_coupling", coupling);
    EXPECT_GE(inductance, 93);
    EXPECT_GE(resistance, 93);
    EXPECT_GE(coupling, 93);
}

TEST(Winding, AnOpenLeadIsNoWinding) {
    const bench::Bench bench = bench_with(1, 51);
    const auto request = test::request_for(bench, test::capture(bench, Hookup::open, quick()), Hookup::winding);
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    EXPECT_EQ(result->verdict(), measure::Verdict::rejected);
    EXPECT_EQ(accepted(*result), nullptr);
}

}  // namespace
}  // namespace coldtune
