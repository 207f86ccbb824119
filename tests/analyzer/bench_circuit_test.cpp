// The simulated bench's circuit against closed forms and identities (against ngspice: tests/outside).
#include "analyzer/bench/bench_circuit.hpp"
#include "tests/support/lumped_bench.hpp"
#include "tests/support/two_pi.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <limits>
#include <numbers>

namespace coldtune::bench {
namespace {

using Complex = std::complex<double>;

Bench model_bench() {
    Bench bench = default_bench();
    std::get<CoilOnBench>(bench.coil).deviation = {};
    std::get<CoilOnBench>(bench.coil).sections = 24;
    return bench;
}

BenchCircuit circuit_of(const Bench& bench, Hookup hookup) {
    auto circuit = BenchCircuit::build(bench, hookup);
    EXPECT_TRUE(circuit.ok()) << (circuit ? "" : circuit.error().message);
    return *circuit;
}

// Chain matrices from the source to the device, another way to the same voltages (textbook two-port cascade).
NodeVoltages by_chain(const Wiring& wiring, Complex device, double frequency_hz) {
    const Complex s(0, kTwoPi * frequency_hz);
    const Complex input_1 = 1 / wiring.generator_input.resistance_ohm +
                            s * (wiring.generator_input.capacitance_f + wiring.generator_input.cable_f);
    const Complex input_2 =
        1 / wiring.coil_input.resistance_ohm + s * (wiring.coil_input.capacitance_f + wiring.coil_input.cable_f);
    const Complex reference = 1.0 / (1 / wiring.reference_ohm + s * wiring.reference_shunt_f);
    const Complex lead = wiring.lead_ohm + s * wiring.lead_h;
    // Backwards from one volt at the device.
    const Complex device_current = device;
    const Complex junction_volt = 1.0 + device_current * lead;
    const Complex reference_current = device_current + junction_volt * input_2;
    const Complex generator_volt = junction_volt + reference_current * reference;
    const Complex source_volt = generator_volt + (reference_current + generator_volt * input_1) * wiring.source_ohm;
    return {generator_volt / source_volt, junction_volt / source_volt, 0};
}

TEST(BenchCircuit, AgreesWithTheChainOfTwoPorts) {
    Bench bench = lumped_bench();
    bench.wiring.lead_ohm = 0.1;
    bench.wiring.lead_h = 1e-6;
    bench.wiring.reference_shunt_f = 0.5e-12;
    for (const Hookup hookup : {Hookup::foot, Hookup::winding, Hookup::tank, Hookup::load, Hookup::open}) {
        const BenchCircuit circuit = circuit_of(bench, hookup);
        for (const double f : {20.0, 1e3, 4e4, 82.5e3, 3e5}) {
            const NodeVoltages expected = by_chain(bench.wiring, *circuit.device_admittance(f), f);
            const NodeVoltages got = circuit.solve(f);
            // A few rounding errors of the elimination.
            EXPECT_LT(std::abs(got.generator - expected.generator), 1e-13);
            EXPECT_LT(std::abs(got.coil - expected.coil), 1e-13 * std::abs(expected.coil) + 1e-15);
        }
    }
}

TEST(BenchCircuit, ShortIsTheLeadAlone) {
    Bench bench = lumped_bench();
    EXPECT_LT(std::abs(circuit_of(bench, Hookup::short_circuit).solve(50e3).coil), 1e-15);
    bench.wiring.lead_ohm = 0.2;
    bench.wiring.lead_h = 2e-6;
    const NodeVoltages v = circuit_of(bench, Hookup::short_circuit).solve(50e3);
    const Complex lead(0.2, kTwoPi * 50e3 * 2e-6);
    // The inputs beside 0.7 ohm change it by 4e-5 relative at most (162 pF at 50 kHz: 20 kohm).
    EXPECT_LT(std::abs(v.coil / v.generator - lead / (bench.wiring.reference_ohm + lead)), 1e-4 * std::abs(v.coil));
}

TEST(BenchCircuit, LoopbackPutsBothInputsOnTheGenerator) {
    const NodeVoltages v = circuit_of(lumped_bench(), Hookup::loopback).solve(10e3);
    EXPECT_EQ(v.generator, v.coil);
    EXPECT_NEAR(std::abs(v.generator), 1, 1e-3);  // 100 ohm into 0.5 Mohm and 324 pF
}

TEST(BenchCircuit, ZeroReactanceSolvesItsQuadratic) {
    // Series R L C with a stray across: Im Y = 0 is a quadratic in w^2.
    const double l = 0.12, c = 31e-12, r = 610, cs = 5e-12;
    const double qa = cs * l * l * c * c;
    const double qb = cs * (r * r * c * c - 2 * l * c) - l * c * c;
    const double qc = cs + c;
    const double w2 = 2 * qc / (-qb + std::sqrt(qb * qb - 4 * qa * qc));
    const double expected = std::sqrt(w2) / kTwoPi;
    const auto got = circuit_of(lumped_bench(), Hookup::foot).zero_reactance_hz(70e3, 84e3);
    ASSERT_TRUE(got.has_value());
    EXPECT_NEAR(*got / expected, 1, 1e-11);  // the quadratic's own cancellation
    EXPECT_FALSE(circuit_of(lumped_bench(), Hookup::foot).zero_reactance_hz(1e3, 2e3).has_value());
    EXPECT_FALSE(circuit_of(lumped_bench(), Hookup::loopback).zero_reactance_hz(1e3, 2e3).has_value());
}

TEST(BenchCircuit, HeadRisesByQ) {
    // At resonance the capacitor of a series circuit stands at Q times its driving voltage (textbook).
    const BenchCircuit circuit = circuit_of(lumped_bench(), Hookup::foot);
    const double f0 = 1 / (kTwoPi * std::sqrt(0.12 * 31e-12));
    const double q = kTwoPi * f0 * 0.12 / 610;
    const NodeVoltages v = circuit.solve(f0, true);
    EXPECT_NEAR(std::abs(v.head) / std::abs(v.coil), q, 1e-9 * q);
    EXPECT_EQ(circuit.solve(f0).head, 0.0);
    EXPECT_NEAR(circuit.decay_time_s(), q / (std::numbers::pi * f0), 1e-9 * circuit.decay_time_s());
}

TEST(BenchCircuit, LoadingAddsAtTheHead) {
    Bench bench = lumped_bench();
    std::get<LumpedCoil>(bench.coil).stray_f = 0;
    bench.loading_f = 100e-12;
    const auto f0 = circuit_of(bench, Hookup::foot).zero_reactance_hz(30e3, 60e3);
    ASSERT_TRUE(f0.has_value());
    EXPECT_NEAR(*f0, 1 / (kTwoPi * std::sqrt(0.12 * 131e-12)), 1e-6);
}

TEST(BenchCircuit, DirectCurrentIsTheLimit) {
    const NodeVoltages foot = circuit_of(lumped_bench(), Hookup::foot).solve(0);
    EXPECT_EQ(foot.coil.imag(), 0);
    const Wiring wiring;
    // Coil open at direct current: source and reference into the inputs.
    EXPECT_NEAR(foot.coil.real() / foot.generator.real(), 1e6 / (1e6 + wiring.reference_ohm), 1e-9);
    const NodeVoltages load = circuit_of(lumped_bench(), Hookup::load).solve(0);
    EXPECT_NEAR(load.coil.real() / load.generator.real(), 1 / (1 + 1e4 * (1e-4 + 1e-6)), 1e-12);
}

TEST(BenchCircuit, MissingReturnLeavesOnlyItsCapacitance) {
    Bench bench = lumped_bench();
    bench.wiring.missing_return_f = 20e-12;
    const NodeVoltages v = circuit_of(bench, Hookup::load).solve(30e3);
    const Complex s(0, kTwoPi * 30e3);
    const Complex expected = by_chain(bench.wiring, 1.0 / (bench.wiring.load_ohm + 1.0 / (s * 20e-12)), 30e3).coil;
    EXPECT_LT(std::abs(v.coil - expected), 1e-13);
}

// --- a coil played by the distributed model

TEST(BenchCircuit, ModelCoilHasTheStatedQ) {
    Bench bench = model_bench();
    std::get<CoilOnBench>(bench.coil).q = 90;
    const auto coil = BenchCoil::build(bench);
    ASSERT_TRUE(coil.ok()) << coil.error().message;
    const double f1 = (*coil)->first_resonance_hz();
    // Half-power width found here by a plain scan of the conductance.
    const double peak = (*coil)->foot_admittance(f1).real();
    double low = 0, high = 0;
    for (double f = 0.97 * f1; f < 1.03 * f1; f += 1e-6 * f1) {
        if ((*coil)->foot_admittance(f).real() >= 0.5 * peak) {
            if (low == 0) low = f;
            high = f;
        }
    }
    EXPECT_NEAR(f1 / (high - low), 90, 90 * 3e-4);  // two scan steps of 1e-6 in a width of 1/90
    EXPECT_NEAR((*coil)->decay_time_s(), 90 / (std::numbers::pi * f1), 1e-3 * 90 / (std::numbers::pi * f1));
}

TEST(BenchCircuit, DeviationsMoveTheResonance) {
    const auto frequency = [](const CoilOnBench::Deviation& deviation) {
        Bench bench = model_bench();
        std::get<CoilOnBench>(bench.coil).deviation = deviation;
        const auto coil = BenchCoil::build(bench);
        EXPECT_TRUE(coil.ok());
        return (*coil)->first_resonance_hz();
    };
    const double nominal = frequency({});
    EXPECT_NEAR(frequency({.capacitance = 1.03}) / nominal, 1 / std::sqrt(1.03), 1e-12);
    EXPECT_NEAR(frequency({.inductance = 0.97}) / nominal, 1 / std::sqrt(0.97), 1e-12);
    // L goes as turns squared at equal pitch-to-wire ratio; the round-wire correction moves with the pitch by less than
    // 0.2 % of that change.
    EXPECT_NEAR(frequency({.turns = 1.01}) / nominal, 1 / 1.01, 2e-4);
    EXPECT_LT(frequency({.topload = 1.05}), 0.99 * nominal);
    EXPECT_LT(frequency({.diameter = 1.05}), 0.98 * nominal);
}

TEST(BenchCircuit, ModelTwoPortAgreesWithTheModelLoaded) {
    // Loading the two-port's head must do what re-solving the model with the capacitor does. Both hold exactly without
    // loss; the model assigns loss to modes, and the modes of the loaded coil differ: compare away from the peak.
    Bench bench = model_bench();
    const auto coil = BenchCoil::build(bench);
    ASSERT_TRUE(coil.ok());
    const double added = 20e-12;
    const auto loaded = (*coil)->with_head_capacitance(added);
    EXPECT_LT(loaded->first_resonance_hz(), (*coil)->first_resonance_hz());
    for (const double f : {5e3, 20e3, 35e3}) {
        const TwoPort y = (*coil)->two_port(f);
        const Complex s(0, kTwoPi * f);
        const Complex expected = y.foot_foot - y.foot_head * y.foot_head / (y.head_head + s * added);
        EXPECT_NEAR(loaded->foot_admittance(f).imag() / expected.imag(), 1, 1e-4) << f;
    }
}

TEST(BenchCircuit, PickupFollowsTheHead) {
    Bench bench = model_bench();
    bench.wiring.pickup_f = 1e-18;  // hardly loads anything
    const BenchCircuit circuit = circuit_of(bench, Hookup::pickup);
    const auto coil = BenchCoil::build(bench);
    ASSERT_TRUE(coil.ok());
    const double f = 0.8 * (*coil)->first_resonance_hz();
    const NodeVoltages v = circuit.solve(f);
    const Complex s(0, kTwoPi * f);
    const Complex foot_series = bench.wiring.reference_ohm + bench.wiring.lead_ohm + s * bench.wiring.lead_h;
    const Complex foot = v.generator / (1.0 + foot_series * (*coil)->foot_admittance(f));
    // The wire's 1e-18 F beside 35 pF at the head, raised by 1 / (1 - 0.8^2) near resonance: 8e-8.
    EXPECT_LT(std::abs(v.head - foot * (*coil)->head_per_foot(f)), 2e-7 * std::abs(v.head));
    EXPECT_LT(std::abs(v.coil), 1e-6 * std::abs(v.head));
    EXPECT_GT(std::abs(v.coil), 0);
}

TEST(BenchCircuit, RefusesImpossibleBenches) {
    const auto refused = [](auto&& change) {
        Bench bench = lumped_bench();
        change(bench);
        const auto circuit = BenchCircuit::build(bench, Hookup::foot);
        return circuit ? std::string() : circuit.error().message;
    };
    EXPECT_EQ(refused([](Bench&) {}), "");
    EXPECT_NE(refused([](Bench& b) { b.wiring.reference_ohm = 0; }).find("wiring.reference"), std::string::npos);
    EXPECT_NE(refused([](Bench& b) {
                  b.wiring.coil_input.resistance_ohm = std::numeric_limits<double>::quiet_NaN();
              }).find("wiring.coil_input.resistance"),
              std::string::npos);
    EXPECT_NE(refused([](Bench& b) { b.interface.bits = 7; }).find("interface.bits"), std::string::npos);
    EXPECT_NE(refused([](Bench& b) { b.coil = LumpedCoil{}; }).find("circuit.branches"), std::string::npos);
    EXPECT_NE(refused([](Bench& b) {
                  std::get<LumpedCoil>(b.coil).branches[0].resistance_ohm = -1;
              }).find("circuit.resistance"),
              std::string::npos);
    const auto no_coil = BenchCircuit::build(lumped_bench(), Hookup::foot, nullptr);
    ASSERT_FALSE(no_coil.ok());
    EXPECT_EQ(no_coil.error().kind, ErrorKind::bad_input);
}

}  // namespace
}  // namespace coldtune::bench
