// The closed tank on the simulated bench, and the way from captures to the result.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/bench/bench_file.hpp"
#include "analyzer/cli/result_text.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/model/primary.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/example_pair.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune {
namespace {

using bench::Hookup;
using Complex = std::complex<double>;

bench::Bench pair_bench() {
    bench::Bench bench;
    bench::CoilOnBench coil;
    coil.description = test::example_pair();
    coil.q = 130;
    coil.sections = 40;
    bench.coil = coil;
    bench.tank = {58e-6, 0.3, 98e-9};
    bench.primary_circuit = bench::PrimaryCircuit::closed;
    bench.wiring.lead_ohm = 0.05;
    bench.wiring.lead_h = 0.6e-6;
    bench.wiring.reference_ohm = 10.05e3;
    bench.wiring.coil_input.gain = 0.995;
    return bench;
}

test::SweepShape quick() {
    test::SweepShape shape;
    shape.period = 64000;
    shape.periods = 5;
    return shape;
}

// Two lumped circuits written out: the tank reflects (w M)^2 / Z into the branch, and the branch into the tank.
TEST(PairBench, LumpedCircuitsReflectOneAnother) {
    bench::Bench bench;
    bench.coil = bench::LumpedCoil{{{0.12, 48e-12, 400}}, 7e-12};
    bench.tank = {50e-6, 0.2, 110e-9};
    bench.coupling = 0.13;
    bench.primary_circuit = bench::PrimaryCircuit::closed;
    const auto foot = bench::BenchCircuit::build(bench, Hookup::foot);
    const auto tied = bench::BenchCircuit::build(bench, Hookup::winding);
    const auto tank = bench::BenchCircuit::build(bench, Hookup::tank);
    ASSERT_TRUE(foot && tied && tank);
    const double mutual = 0.13 * std::sqrt(0.12 * 50e-6);
    for (const double f : {20e3, 62e3, 66e3, 71e3, 150e3}) {
        const Complex s(0, kTwoPi * f);
        const double square = std::pow(kTwoPi * f * mutual, 2);
        const Complex loop = 0.2 + s * 50e-6 + 1.0 / (s * 110e-9);
        const Complex winding = 400.0 + s * 0.12 + square / loop;
        EXPECT_LT(std::abs(*foot->device_admittance(f) - (1.0 / (winding + 1.0 / (s * 48e-12)) + s * 7e-12)), 1e-15);
        EXPECT_LT(std::abs(*tied->device_admittance(f) * winding - (1.0 + s * 7e-12 * winding)), 1e-12);
        const Complex primary = 0.2 + s * 50e-6 + square / (400.0 + s * 0.12 + 1.0 / (s * 48e-12));
        EXPECT_LT(std::abs(*tank->device_admittance(f) / (1.0 / primary + s * 110e-9) - 1.0), 1e-12);
    }
    EXPECT_NEAR(foot->decay_time_s(), 2 * 0.12 / 400, 1e-12);  // longer than the tank's 2 * 50u / 0.2
    bench.primary_circuit = bench::PrimaryCircuit::shorted;
    const Complex s(0, kTwoPi * 66e3);
    const Complex shorted = 400.0 + s * 0.12 + std::pow(kTwoPi * 66e3 * mutual, 2) / (0.2 + s * 50e-6);
    EXPECT_LT(std::abs(*bench::BenchCircuit::build(bench, Hookup::winding)->device_admittance(66e3) * shorted -
                       (1.0 + s * 7e-12 * shorted)),
              1e-12);
}

TEST(PairBench, AnOpenPrimaryChangesNothing) {
    bench::Bench bench = pair_bench();
    bench.primary_circuit = bench::PrimaryCircuit::open;
    const auto open = bench::BenchCircuit::build(bench, Hookup::foot);
    ASSERT_TRUE(open);
    const auto alone = bench::BenchCoil::build(bench);
    ASSERT_TRUE(alone);
    EXPECT_EQ(*open->device_admittance(66e3), (*alone)->foot_admittance(66e3));
    EXPECT_FALSE((*alone)->tank_impedance(66e3).has_value());
    // One resonance where the closed tank makes two.
    const double first = (*alone)->first_resonance_hz();
    const auto closed = bench::BenchCircuit::build(pair_bench(), Hookup::foot);
    EXPECT_GT(open->device_admittance(first)->real(), 20 * closed->device_admittance(first)->real());
    const auto tank = bench::BenchCircuit::build(bench, Hookup::tank);
    const Complex s(0, kTwoPi * 60e3);
    EXPECT_LT(std::abs(*tank->device_admittance(60e3) / (1.0 / (0.3 + s * 58e-6) + s * 98e-9) - 1.0), 1e-14);
}

TEST(PairBench, FilesSayIt) {
    const std::string coil = R"("secondary":{"diameter":"160mm","length":"750mm","turns":2500,"wire":"0.25mm",
        "base_height":"150mm"},"primary":{"inner_diameter":"26cm","pitch":"16mm","turns":14,"conductor":"8mm",
        "base_height":"15cm"},"tank":{"capacitance":"100n","tap_turns":11,"lead_inductance":"0.5u"})";
    const auto bench = bench::parse_bench(R"({"coil":{)" + coil + R"(},"primary_circuit":"closed"})", "bench");
    ASSERT_TRUE(bench) << bench.error().message;
    EXPECT_EQ(bench->primary_circuit, bench::PrimaryCircuit::closed);
    // The tank as described.
    const auto description = test::example_pair();
    EXPECT_NEAR(bench->tank.inductance_h / (model::primary_inductance_h(*description.primary, 11) + 0.5e-6), 1, 1e-12);
    EXPECT_EQ(bench->tank.capacitance_f, 100e-9);
    const auto shorted = bench::parse_bench(
        R"({"circuit":{"inductance":0.1,"capacitance":"50p","resistance":400},"primary_circuit":"shorted","coupling":"12%"})",
        "bench");
    ASSERT_TRUE(shorted) << shorted.error().message;
    EXPECT_EQ(shorted->primary_circuit, bench::PrimaryCircuit::shorted);
    EXPECT_DOUBLE_EQ(shorted->coupling, 0.12);
    for (const std::string& wrong :
         {std::string(
              R"({"circuit":{"inductance":0.1,"capacitance":"50p","resistance":400},"primary_circuit":"closed"})"),
          R"({"coil":{)" + coil + R"(},"primary_circuit":"bridged"})", R"({"coil":{)" + coil + R"(},"coupling":0.1})",
          std::string(R"({"coil":{"secondary":{"diameter":"160mm","length":"750mm","turns":2500,"wire":"0.25mm",)"
                      R"("base_height":"150mm"}},"primary_circuit":"closed"})")}) {
        EXPECT_FALSE(bench::parse_bench(wrong, "bench")) << wrong;
    }
    // A tank of less inductance than the primary's own field demands.
    auto impossible = *bench;
    impossible.tank.inductance_h = 1e-6;
    EXPECT_FALSE(bench::BenchCircuit::build(impossible, Hookup::foot));
}

TEST(PairBench, CapturesToResult) {
    const bench::Bench bench = pair_bench();
    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, quick()));
    test::add_standards(request, bench, quick());
    request.description = test::example_pair();
    request.coupled = true;
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result) << result.error().message;
    const measure::Pair* pair = result->pair();
    ASSERT_NE(pair, nullptr) << (result->findings.empty() ? "" : result->findings.front().text);
    EXPECT_EQ(result->verdict(), measure::Verdict::good);
    EXPECT_EQ(result->resonance(), nullptr);
    const double tank_hz = 1 / (kTwoPi * std::sqrt(58e-6 * 98e-9));
    EXPECT_NEAR(pair->primary_frequency_hz / tank_hz, 1, 100e-6);
    EXPECT_NEAR(pair->primary_q / (kTwoPi * tank_hz * 58e-6 / 0.3), 1, 0.01);
    EXPECT_NEAR(pair->secondary_q / 130, 1, 0.01);
    // The tank opened: the same secondary found alone, by the other fit. Zero reactance lies off the undamped resonance
    // by some ppm of stray over Q.
    auto open = bench;
    open.primary_circuit = bench::PrimaryCircuit::open;
    auto alone = test::request_for(open, test::capture(open, Hookup::foot, quick()));
    test::add_standards(alone, open, quick());
    const auto secondary = measure::analyze(alone);
    ASSERT_TRUE(secondary && secondary->resonance() != nullptr);
    EXPECT_NEAR(pair->secondary_frequency_hz / secondary->resonance()->frequency_hz, 1, 100e-6);

    const auto json = measure::to_json(*result, false);
    EXPECT_TRUE(json["resonance"].is_null());
    EXPECT_EQ(json["pair"]["k"].get<double>(), pair->k);
    EXPECT_EQ(json["pair"]["stronger"], pair->lower_is_stronger() ? "lower" : "upper");
    EXPECT_EQ(json["pair"]["current_form"], "described");
    EXPECT_EQ(json["pair"]["correlation"].size(), 5U);
    EXPECT_NEAR(json["pair"]["correlation"][2][2].get<double>(), 1, 1e-12);
    const std::string text = cli::describe_result(*result, true);
    EXPECT_NE(text.find("coupling k"), std::string::npos) << text;
    EXPECT_NE(text.find("form of the current"), std::string::npos) << text;
}

TEST(PairBench, TwoPeaksWithoutTheOptionSuggestIt) {
    const bench::Bench bench = pair_bench();
    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, quick()));
    const auto plain = measure::analyze(request);
    ASSERT_TRUE(plain);
    bool suggested = false;
    for (const auto& finding : plain->findings) {
        suggested = suggested || (finding.code == measure::FindingCode::several_peaks &&
                                  finding.text.find("--coupled") != std::string::npos);
    }
    EXPECT_TRUE(suggested);
    EXPECT_EQ(measure::to_json(*plain, false)["pair"], nullptr);
}

// Taken for one circuit, the taller peak is off by what coupling makes of it; the interval says so. Truth: each circuit
// alone on the same bench, by the formula of the tank and by the foot with the tank open.
TEST(PairBench, FurtherPeaksAreInTheInterval) {
    for (const double capacitance_f : {70e-9, 85e-9, 98e-9, 110e-9, 130e-9}) {
        bench::Bench bench = pair_bench();
        bench.tank.capacitance_f = capacitance_f;
        const double tank_hz = 1 / (kTwoPi * std::sqrt(bench.tank.inductance_h * capacitance_f));
        auto open = bench;
        open.primary_circuit = bench::PrimaryCircuit::open;
        const auto found = [](const bench::Bench& on, Hookup hookup) {
            auto request = test::request_for(on, test::capture(on, hookup, quick()), hookup);
            request.open = test::standard(on, Hookup::open, quick());
            return measure::analyze(request);
        };
        const auto alone = found(open, Hookup::foot);
        ASSERT_TRUE(alone && alone->resonance() != nullptr);
        int seen = 0;
        for (const Hookup hookup : {Hookup::foot, Hookup::tank}) {
            const auto both = found(bench, hookup);
            ASSERT_TRUE(both);
            const measure::Resonance* r = both->resonance();
            if (r == nullptr || r->other_peaks_hz.empty()) continue;
            ++seen;
            const double truth_hz = hookup == Hookup::tank ? tank_hz : alone->resonance()->frequency_hz;
            EXPECT_EQ(both->verdict(), measure::Verdict::caution);
            EXPECT_LE(std::abs(r->frequency_hz - truth_hz), r->frequency_u95_hz)
                << capacitance_f << " " << bench::describe(hookup).name << " " << r->frequency_hz << " for "
                << truth_hz;
        }
        EXPECT_GE(seen, 1) << capacitance_f;
    }
}

TEST(PairBench, OneCircuitAloneIsRejectedAndOtherHookupsAreAUsageError) {
    bench::Bench bench = pair_bench();
    bench.primary_circuit = bench::PrimaryCircuit::open;
    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, quick()));
    request.coupled = true;
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result);
    EXPECT_EQ(result->verdict(), measure::Verdict::rejected);
    EXPECT_EQ(result->pair(), nullptr);
    EXPECT_EQ(result->findings.front().code, measure::FindingCode::no_resonance);
    request.hookup = Hookup::tank;
    const auto usage = measure::analyze(request);
    ASSERT_FALSE(usage);
    EXPECT_EQ(usage.error().kind, ErrorKind::usage);
}

// The winding with the primary open and really shorted: k of a uniform current, by filaments.
TEST(PairBench, WindingTellsTheUniformCoupling) {
    bench::Bench open = pair_bench();
    open.primary_circuit = bench::PrimaryCircuit::open;
    bench::Bench shorted = open;
    shorted.primary_circuit = bench::PrimaryCircuit::shorted;
    shorted.tank.resistance_ohm = 0.02;
    auto request = test::request_for(open, test::capture(open, Hookup::winding, quick()), Hookup::winding);
    test::add_standards(request, open, quick());
    request.shorted = measure::Standard{test::capture(shorted, Hookup::winding, quick()), "shorted"};
    const auto result = measure::analyze(request);
    ASSERT_TRUE(result);
    const auto* accepted = std::get_if<measure::Accepted>(&result->outcome);
    ASSERT_TRUE(accepted != nullptr && accepted->coupling)
        << (result->findings.empty() ? "" : result->findings.front().text);
    const auto coil = test::example_pair();
    const double mutual = model::primary_mutual_h(*coil.primary, 11, coil.secondary);
    const auto model = model::SecondaryModel::build(coil, {.sections = 40, .convergence = 1e-3});
    const double k = mutual / std::sqrt(model->branch_inductance_h().sum() * shorted.tank.inductance_h);
    EXPECT_NEAR(accepted->coupling->k / k, 1, 0.02);
}

}  // namespace
}  // namespace coldtune
