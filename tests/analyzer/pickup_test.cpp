// The pickup hookup: what a wire near the head tells, on simulated benches whose circuit is solved by nodes.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/measure/pickup.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using bench::Hookup;

bench::Bench bench_with(const model::CoilDescription& description, double reference_ohm, std::uint64_t seed) {
    bench::Bench bench;
    bench::CoilOnBench coil;
    coil.description = description;
    coil.q = 150;
    bench.coil = coil;
    bench.wiring.reference_ohm = reference_ohm * 1.006;
    bench.wiring.coil_input.gain = 0.993;
    bench.wiring.coil_input.cable_f = 140e-12;
    bench.wiring.lead_ohm = 0.12;
    bench.wiring.lead_h = 0.5e-6;
    bench.seed = seed;
    return bench;
}

// Near 55 kHz.
model::CoilDescription large_coil() {
    model::CoilDescription coil;
    coil.secondary = {0.3, 1.2, 1800, 0.5e-3, 0.3, 20, {}};
    coil.topload.push_back(model::Toroid{0.9, 0.2, 0.15});
    return coil;
}

// Above the band of a 192 kHz interface.
model::CoilDescription small_coil(double turns) {
    model::CoilDescription coil;
    coil.secondary = {0.11, 0.5, turns, 0.2e-3, 0.15, 20, {}};
    coil.topload.push_back(model::Toroid{0.3, 0.075, 0.09});
    return coil;
}

// Reactance zero at the foot, without the wire: by bisection on the bench's own circuit.
double true_hz(const bench::Bench& bench) {
    const auto coil = bench::BenchCoil::build(bench);
    const auto circuit = bench::BenchCircuit::build(bench, Hookup::foot, *coil);
    const double near = (*coil)->first_resonance_hz();
    return circuit->zero_reactance_hz(0.97 * near, 1.03 * near).value_or(0);
}

measure::MeasurementResult run(const bench::Bench& bench, double reference_ohm, bool described,
                               Hookup hookup = Hookup::pickup) {
    auto request = test::request_for(bench, test::capture(bench, hookup), Hookup::pickup);
    request.bench.reference_ohm = reference_ohm;
    if (described) request.description = std::get<bench::CoilOnBench>(bench.coil).description;
    auto result = measure::analyze(request);
    EXPECT_TRUE(result.ok()) << (result.ok() ? "" : result.error().message);
    return result.ok() ? std::move(*result) : measure::MeasurementResult{};
}

std::string first_text(const measure::MeasurementResult& result) {
    return result.findings.empty() ? std::string("no finding") : result.findings.front().text;
}

TEST(Pickup, ResonanceInsideTheBand) {
    double last_q = 150;
    for (const double reference : {100.0, 1e3, 10e3}) {
        for (const bool described : {false, true}) {
            const bench::Bench bench = bench_with(large_coil(), reference, 61);
            const auto result = run(bench, reference, described);
            const auto* r = result.resonance();
            ASSERT_NE(r, nullptr) << reference << ' ' << first_text(result);
            const double truth = true_hz(bench);
            EXPECT_EQ(r->way, measure::Way::in_band);
            // Half the 60 pF to 5 pF span of plausible heads, seen by 0.05 pF of wire; a described head leaves a
            // quarter.
            EXPECT_LT(r->frequency_u95_hz / truth, described && reference < 5e3 ? 1e-3 : 6e-3);
            EXPECT_NEAR(r->frequency_hz, truth, r->frequency_u95_hz);
            // The coil's own Q cannot be told; the loaded one lies below it and falls with the resistor.
            EXPECT_FALSE(r->q.has_value());
            ASSERT_TRUE(r->loaded_q.has_value());
            EXPECT_LT(*r->loaded_q, 150);
            EXPECT_LT(*r->loaded_q, last_q * 1.001);
            last_q = *r->loaded_q;
            EXPECT_EQ(result.verdict(), measure::Verdict::good) << first_text(result);
        }
    }
}

// What the wire gives at a bench: nodes solved at each bin, white noise of -100 dBFS against a sweep of -6 dBFS (about
// 1.3e-5 of the generator side per bin of five averaged periods; an eighth of the bins carry the same information).
// `lead_f` hangs on the foot behind the reference resistor: the foot is a divider of R against coil and lead, so
// (Y + 1/R) / (Y + 1/R + jwC) of what it was. The bench's own circuit knows of no such capacitor.
dsp::Response response_of(const bench::Bench& bench, std::mt19937_64& random, double lead_f = 0) {
    const auto circuit = bench::BenchCircuit::build(bench, Hookup::pickup);
    std::normal_distribution<double> normal;
    dsp::Response response;
    response.sample_rate_hz = 192000;
    const double sigma = 4.6e-6;
    for (double f = 1000; f < 86400; f += 8 * 192000.0 / 131072) {
        const auto v = circuit->solve(f);
        const std::complex<double> noise(normal(random), normal(random));
        const auto at_foot = *circuit->device_admittance(f) + 1 / bench.wiring.reference_ohm;
        const std::complex<double> lead(0, 2 * std::numbers::pi * f * lead_f);
        response.frequency_hz.push_back(f);
        response.ratio.push_back(v.coil / v.generator * at_foot / (at_foot + lead) * bench.wiring.coil_input.gain +
                                 sigma / std::sqrt(2.0) * noise);
        response.variance.push_back(sigma * sigma);
    }
    return response;
}

struct Tally {
    int cases = 0, found = 0, covered = 0;
    std::vector<double> error, width;
};

// `references`: taken in turn. `lead_f`: most that the lead adds at the foot.
Tally coverage(int cases, bool below, bool described, const std::vector<double>& references = {100, 1e3, 10e3},
               double lead_f = 0) {
    std::mt19937_64 random((below ? 71U : described ? 72U : 73U) + (lead_f > 0 ? 10U : 0U));
    const auto uniform = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    const model::CoilDescription description = below ? small_coil(1800) : large_coil();
    const auto family = measure::ShapeFamily::build(description);
    Tally tally;
    for (int i = 0; i < cases; ++i) {
        const double reference = references[static_cast<std::size_t>(i) % references.size()];
        bench::Bench bench = bench_with(description, reference, 1);
        auto& coil = std::get<bench::CoilOnBench>(bench.coil);
        coil.q = uniform(80, 300);
        coil.deviation.length = uniform(0.98, 1.02);
        coil.deviation.diameter = uniform(0.99, 1.01);
        coil.deviation.topload = uniform(0.97, 1.03);
        coil.deviation.capacitance = uniform(0.95, 1.05);
        coil.deviation.inductance = uniform(0.97, 1.03);
        bench.wiring.reference_ohm = reference * uniform(0.99, 1.01);
        bench.wiring.coil_input.cable_f = uniform(100e-12, 180e-12);
        bench.wiring.coil_input.gain = uniform(0.98, 1.02);
        bench.wiring.pickup_f = uniform(0.02e-12, 0.1e-12);
        const dsp::Response response = response_of(bench, random, lead_f > 0 ? uniform(0, lead_f) : 0);
        const auto outcome = measure::find_pickup(response, {reference, 1e6, 150e-12, 0}, {}, dsp::Band{1000, 86400},
                                                  described ? &*family : nullptr);
        ++tally.cases;
        const auto* r = std::get_if<measure::Resonance>(&outcome);
        const double truth = true_hz(bench);
        if (r == nullptr) continue;
        ++tally.found;
        const double e = std::abs(r->frequency_hz / truth - 1), u = r->frequency_u95_hz / truth;
        tally.covered += e <= u ? 1 : 0;
        tally.error.push_back(e);
        tally.width.push_back(u);
    }
    std::sort(tally.error.begin(), tally.error.end());
    std::sort(tally.width.begin(), tally.width.end());
    return tally;
}

double median(std::vector<double> values) {
    std::nth_element(values.begin(), values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2), values.end());
    return values[values.size() / 2];
}

// 95 % is claimed; 93 % of the cases are asked for, as for the other ways. Dimensions off by 1 to 3 %, inductance and
// capacitance by 3 and 5 %, input capacitance by 30 %.
TEST(PickupCoverage, InsideTheBandWithoutADescription) {
    const Tally t = coverage(100, false, false);
    EXPECT_EQ(t.found, t.cases);
    EXPECT_GE(t.covered, 93);
    EXPECT_LT(median(t.width), 6e-3);  // 5 to 60 pF of head behind 0.05 pF of wire: 0.5 % to 0.04 %
}

TEST(PickupCoverage, InsideTheBandWithADescription) {
    const Tally t = coverage(30, false, true);
    EXPECT_EQ(t.found, t.cases);
    EXPECT_GE(t.covered, 28);
    EXPECT_LT(median(t.width), 1e-3);
    EXPECT_LT(median(t.error), 5e-4);
}

TEST(PickupCoverage, AboveTheBand) {
    const Tally t = coverage(12, true, true);
    EXPECT_EQ(t.found, t.cases);
    EXPECT_EQ(t.covered, t.cases);
    EXPECT_LT(*std::max_element(t.error.begin(), t.error.end()), 0.01);  // what is promised of the below-band way
    EXPECT_LT(median(t.width), 0.01);
}

// A clip lead makes 5 to 30 pF at the foot (common practice, no source), which no standard sees. Every interval holds,
// behind 10 kohm as behind 1 kohm, where it is the narrower.
TEST(PickupCoverage, AboveTheBandWithALeadAtTheFoot) {
    const Tally large = coverage(12, true, true, {10e3}, 30e-12);
    EXPECT_EQ(large.covered, large.found);
    EXPECT_EQ(large.found, large.cases);
    const Tally small = coverage(12, true, true, {1e3}, 30e-12);
    EXPECT_EQ(small.covered, small.found);
    EXPECT_EQ(small.found, small.cases);
    EXPECT_LT(median(small.width), 0.01);  // as without a lead
    EXPECT_LT(median(small.width), median(large.width));
}

// Around the first mode the lead is nearly nothing beside the coil; a loaded Q of ten behind 10 kohm is what widens.
TEST(PickupCoverage, InsideTheBandWithALeadAtTheFoot) {
    for (const double reference : {1e3, 10e3}) {
        const Tally t = coverage(20, false, true, {reference}, 30e-12);
        EXPECT_EQ(t.found, t.cases);
        EXPECT_GE(t.covered, 19);
        if (reference < 5e3) {
            EXPECT_LT(median(t.error), 5e-4);  // as without a lead
        }
    }
}

// The lead has a line of its own in the budget, and the budget adds up.
TEST(Pickup, TheBudgetNamesTheLeadAtTheFoot) {
    const bench::Bench bench = bench_with(small_coil(1800), 10e3, 67);
    const auto result = run(bench, 10e3, true);
    const auto* r = result.resonance();
    ASSERT_NE(r, nullptr) << first_text(result);
    double variance = 0, lead = 0;
    for (const measure::BudgetLine& line : r->budget) {
        variance += line.frequency_u_hz * line.frequency_u_hz;
        if (line.source == "lead at the foot") lead = line.frequency_u_hz;
    }
    EXPECT_GT(lead, 0);
    EXPECT_NEAR(2 * std::sqrt(variance) / r->frequency_u95_hz, 1, 1e-12);
}

TEST(Pickup, ResonanceAboveTheBandNeedsTheDescription) {
    const bench::Bench bench = bench_with(small_coil(1800), 1e3, 62);
    const auto with = run(bench, 1e3, true);
    ASSERT_NE(with.resonance(), nullptr) << first_text(with);
    EXPECT_EQ(with.resonance()->way, measure::Way::below_band);
    EXPECT_NEAR(with.resonance()->frequency_hz, true_hz(bench), with.resonance()->frequency_u95_hz);
    const auto without = run(bench, 1e3, false);
    EXPECT_EQ(without.verdict(), measure::Verdict::rejected);
    EXPECT_EQ(without.findings.front().code, measure::FindingCode::outside_band);
    EXPECT_EQ(without.resonance(), nullptr);
}

TEST(Pickup, RefusesWhatDoesNotDetermineIt) {
    // Far above the band: 86 kHz of 500 kHz.
    const auto far = run(bench_with(small_coil(500), 1e3, 63), 1e3, true);
    EXPECT_EQ(far.verdict(), measure::Verdict::rejected) << far.resonance()->frequency_hz;
    // A wire that hears nothing.
    bench::Bench deaf = bench_with(large_coil(), 1e3, 64);
    deaf.wiring.pickup_f = 1e-18;
    EXPECT_EQ(run(deaf, 1e3, true).verdict(), measure::Verdict::rejected);
    // The wire on the foot, on the generator, on nothing; inputs swapped.
    bench::Bench bench = bench_with(large_coil(), 1e3, 65);
    for (const Hookup wrong : {Hookup::foot, Hookup::loopback, Hookup::open}) {
        for (const bool described : {false, true}) {
            if (described && wrong != Hookup::foot) continue;
            const auto result = run(bench, 1e3, described, wrong);
            EXPECT_EQ(result.verdict(), measure::Verdict::rejected)
                << bench::describe(wrong).name << ' ' << described << ' '
                << (result.resonance() != nullptr ? result.resonance()->frequency_hz : 0);
        }
    }
    bench.faults.swapped_inputs = true;
    EXPECT_EQ(run(bench, 1e3, false).verdict(), measure::Verdict::rejected);
}

}  // namespace
}  // namespace coldtune
