// The winding hookup: inductance within 0.3 %, coupling within 2 %, on benches with errors of their own.
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <random>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/measure/winding.hpp"
#include "analyzer/model/primary.hpp"
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

// Closed form, nothing of the program: a lossy inductance L2 with its own capacitance across it, coupled to a primary
// L1 that is shorted through R1 and a lead (textbook coupled circuits),
//     Z = R2 + jw L2 (1 - k^2 jw L1 / (R1 + jw (L1 + lead))).
struct ShortedPrimary {
    double k = 0, inductance_h = 30e-6, lead_h = 0, resistance_ohm = 0;
    bool skin = false;  // R1 as stated at 10 kHz, growing with sqrt(f)
};
constexpr double kWindingH = 32e-3;

dsp::Response closed_form(const std::optional<ShortedPrimary>& primary, std::mt19937_64& random) {
    std::normal_distribution<double> normal;
    dsp::Response response;
    response.sample_rate_hz = 192000;
    const double sigma = 4.6e-6;
    for (double f = 1000; f < 86400; f += 8 * 192000.0 / 131072) {
        const std::complex<double> s(0, 2 * std::numbers::pi * f);
        std::complex<double> seen = 1;
        if (primary) {
            const double r = primary->resistance_ohm * (primary->skin ? std::sqrt(f / 10e3) : 1);
            seen -= primary->k * primary->k * s * primary->inductance_h /
                    (r + s * (primary->inductance_h + primary->lead_h));
        }
        const std::complex<double> y = 1.0 / (80.0 + s * kWindingH * seen) + s * 7e-12 + 1e-6 + s * 150e-12;
        const std::complex<double> noise(normal(random), normal(random));
        response.frequency_hz.push_back(f);
        response.ratio.push_back(1.0 / (1.0 + 10e3 * y) + sigma / std::sqrt(2.0) * noise);
        response.variance.push_back(sigma * sigma);
    }
    return response;
}

dsp::Response standard_of(std::complex<double> admittance_s, std::mt19937_64& random) {
    dsp::Response response = closed_form({}, random);
    for (std::size_t i = 0; i < response.frequency_hz.size(); ++i) {
        const std::complex<double> s(0, 2 * std::numbers::pi * response.frequency_hz[i]);
        response.ratio[i] = 1.0 / (1.0 + 10e3 * (admittance_s + 1e-6 + s * 150e-12));
    }
    return response;
}

TEST(Winding, CouplingHoldsTheShortingLeadAndThePrimarysResistance) {
    std::mt19937_64 random(61);
    const dsp::Standards standards{standard_of(0, random), std::nullopt, standard_of(1e-4, random)};
    const dsp::BenchValues values{10e3, 1e6, 150e-12, 10e3};
    measure::BenchTolerances tolerances;
    const dsp::Response open = closed_form({}, random);
    for (const double k : {0.08, 0.15, 0.25}) {
        for (const double lead_h : {0.0, 0.3e-6, 0.6e-6, 0.8e-6}) {
            for (const double resistance_ohm : {0.0, 0.03, 0.2}) {
                for (const bool skin : {false, true}) {
                    const auto outcome = measure::find_coupling(
                        open, closed_form(ShortedPrimary{k, 30e-6, lead_h, resistance_ohm, skin}, random), standards,
                        values, tolerances);
                    const auto* c = std::get_if<measure::Coupling>(&outcome);
                    ASSERT_NE(c, nullptr) << std::get<std::string>(outcome);
                    EXPECT_NEAR(c->k, k, c->k_u95) << k << ' ' << lead_h << ' ' << resistance_ohm << ' ' << skin;
                    EXPECT_FALSE(c->primary_described);
                    // 0.5 uH rectangular on 30 uH is 1 % of k, 95 %; 0.2 ohm may add half of that.
                    EXPECT_LT(c->k_u95 / k, 0.015);
                    double variance = 0;
                    bool lead = false, resistance = false;
                    for (const auto& line : c->budget) {
                        variance += line.k_u * line.k_u;
                        lead = lead || (line.source == "shorting lead" && line.k_u > 0);
                        resistance = resistance || line.source == "resistance of the shorted primary";
                    }
                    EXPECT_TRUE(lead && resistance);
                    EXPECT_NEAR(2 * std::sqrt(variance) / c->k_u95, 1, 1e-12);
                }
            }
        }
    }
}

TEST(Winding, CouplingHoldsTheLeadAgainstTheDescribedPrimary) {
    std::mt19937_64 random(62);
    const dsp::Standards standards{standard_of(0, random), std::nullopt, standard_of(1e-4, random)};
    const dsp::BenchValues values{10e3, 1e6, 150e-12, 10e3};
    model::CoilDescription description;
    description.secondary = {0.11, 0.5, 1000, 0.4e-3, 0.15, 20, {}};
    description.primary = model::Primary{};
    description.primary->inner_diameter_m = 0.26;
    description.primary->pitch_m = 16e-3;
    description.primary->turns = 4;
    description.primary->conductor_diameter_m = 8e-3;
    description.primary->base_height_m = 0.12;
    const double primary_h = model::primary_inductance_h(*description.primary, 4);
    const dsp::Response open = closed_form({}, random);
    const dsp::Response shorted = closed_form(ShortedPrimary{0.12, primary_h, 0.6e-6, 0.02}, random);
    const auto outcome = measure::find_coupling(open, shorted, standards, values, {}, description);
    const auto* c = std::get_if<measure::Coupling>(&outcome);
    ASSERT_NE(c, nullptr) << std::get<std::string>(outcome);
    EXPECT_TRUE(c->primary_described);
    EXPECT_DOUBLE_EQ(c->primary_inductance_h, primary_h);
    EXPECT_NEAR(c->k, 0.12, c->k_u95);
    // A small primary is moved the more by the lead: in proportion to 1/L1 against the 30 uH of no description.
    const auto plain = measure::find_coupling(open, shorted, standards, values, {});
    EXPECT_GT(c->k_u95, 1.5 * std::get<measure::Coupling>(plain).k_u95) << primary_h;
}

// Behind a small resistor a winding takes hardly anything from the coil side: nearly all of the ratio is the inputs'
// own.
TEST(Winding, InputsOfOtherGainsAreNotCalledSwappedOnceTheOpenStandardTellsThem) {
    bench::Bench bench = bench_with(1, 61);
    test::SweepShape shape = quick();
    shape.low_hz = 5e3;
    bench.wiring.reference_ohm = 200;
    bench.wiring.coil_input.gain = 1.05;
    auto request = test::request_for(bench, test::capture(bench, Hookup::winding, shape), Hookup::winding);
    request.bench.reference_ohm = 200;
    const auto bare = measure::analyze(request);
    ASSERT_TRUE(bare.ok());
    ASSERT_EQ(bare->verdict(), measure::Verdict::rejected);
    EXPECT_EQ(bare->findings.back().code, measure::FindingCode::inputs_swapped);
    EXPECT_NE(bare->findings.back().text.find("gains alike"), std::string::npos) << bare->findings.back().text;
    request.open = test::standard(bench, Hookup::open, shape);
    const auto open = measure::analyze(request);
    ASSERT_TRUE(open.ok());
    EXPECT_EQ(open->verdict(), measure::Verdict::caution);
    ASSERT_NE(accepted(*open), nullptr) << open->findings.back().text;
    EXPECT_NE(open->findings.front().text.find("5.0 % more than input 1"), std::string::npos)
        << open->findings.front().text;
    request.load = test::standard(bench, Hookup::load, shape);
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result.ok());
    ASSERT_NE(accepted(*result), nullptr) << result->findings.back().text;
    EXPECT_EQ(result->verdict(), measure::Verdict::good);
    const auto& winding = *accepted(*result)->winding;
    EXPECT_NEAR(winding.inductance_h, true_inductance_h(bench), winding.inductance_u95_h);
    // Really swapped, they still are.
    bench.faults.swapped_inputs = true;
    request.coil = test::capture(bench, Hookup::winding, shape);
    const auto swapped = measure::analyze(request);
    ASSERT_TRUE(swapped.ok());
    EXPECT_EQ(swapped->verdict(), measure::Verdict::rejected);
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
