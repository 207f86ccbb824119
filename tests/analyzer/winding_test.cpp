// The winding hookup: inductance within 0.3 %, coupling within 2 %, on benches with errors of their own.
#include <gtest/gtest.h>

#include <cmath>

#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using audio::Hookup;

test::SweepShape quick() {
    test::SweepShape shape;
    shape.period = 64000;
    shape.periods = 6;
    return shape;
}

audio::Bench bench_with(double inductance_factor, std::uint64_t seed) {
    audio::Bench bench;
    audio::CoilOnBench coil;
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
double true_inductance_h(const audio::Bench& bench) {
    const auto& coil = std::get<audio::CoilOnBench>(bench.coil);
    const auto model = model::SecondaryModel::build(coil.description);
    return model->branch_inductance_h().sum() * coil.deviation.inductance;
}

measure::MeasurementResult run(const audio::Bench& bench, bool standards, const audio::Bench* shorted = nullptr) {
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
        const audio::Bench bench = bench_with(factor, 21);
        const auto result = run(bench, true);
        const auto* a = accepted(result);
        ASSERT_TRUE(a != nullptr && a->winding) << (result.findings.empty() ? "" : result.findings.front().text);
        const double truth = true_inductance_h(bench);
        EXPECT_NEAR(a->winding->inductance_h / truth, 1, 0.003);
        EXPECT_NEAR(a->winding->inductance_h, truth, a->winding->inductance_u95_h);
        EXPECT_FALSE(a->resonance.has_value());
        const auto& coil = std::get<audio::CoilOnBench>(bench.coil);
        const double copper = model::SecondaryModel::build(coil.description)->branch_resistance_ohm(1) *
                              static_cast<double>(model::SecondaryModel::build(coil.description)->sections());
        EXPECT_NEAR(a->winding->resistance_ohm, copper, std::max(0.02 * copper, a->winding->resistance_u95_ohm));
    }
}

TEST(Winding, WithoutStandardsTheIntervalHoldsTheDeclaredValues) {
    const audio::Bench bench = bench_with(1, 22);
    const auto result = run(bench, false);
    const auto* a = accepted(result);
    ASSERT_TRUE(a != nullptr && a->winding);
    EXPECT_NEAR(a->winding->inductance_h, true_inductance_h(bench), a->winding->inductance_u95_h);
    EXPECT_EQ(result.verdict(), measure::Verdict::caution);
}

// A shorted primary lowers the inductance seen by the factor 1 - k^2 (textbook, ideal primary).
TEST(Winding, CouplingWithin2PercentFrom005To025) {
    for (const double k : {0.05, 0.1, 0.18, 0.25}) {
        const audio::Bench open = bench_with(1, 31);
        const audio::Bench shorted = bench_with(1 - k * k, 32);
        const auto result = run(open, true, &shorted);
        const auto* a = accepted(result);
        ASSERT_TRUE(a != nullptr && a->coupling) << k << (result.findings.empty() ? "" : result.findings.front().text);
        EXPECT_NEAR(a->coupling->k / k, 1, 0.02) << k;
        EXPECT_NEAR(a->coupling->k, k, a->coupling->k_u95) << k;
    }
}

TEST(Winding, NoDifferenceIsNoCoupling) {
    const audio::Bench open = bench_with(1, 41);
    const audio::Bench same = bench_with(1, 42);
    const auto result = run(open, true, &same);
    EXPECT_EQ(result.verdict(), measure::Verdict::rejected);
    EXPECT_EQ(accepted(result), nullptr);
}

TEST(Winding, AnOpenLeadIsNoWinding) {
    const audio::Bench bench = bench_with(1, 51);
    const auto request = test::request_for(bench, test::capture(bench, Hookup::open, quick()), Hookup::winding);
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    EXPECT_EQ(result->verdict(), measure::Verdict::rejected);
    EXPECT_EQ(accepted(*result), nullptr);
}

}  // namespace
}  // namespace coldtune
