// One input only: the stimulus as the reference, standards and coil in one open stream. Truth: the simulated bench's
// own circuit (lumped: closed form; distributed: its nodal solution), which knows nothing of the correction.
#include "analyzer/measure/one_input.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/measure/analysis.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

// An interface nobody has characterised: its delay, gains and filters are its own.
bench::Interface strange_interface(std::mt19937_64& random) {
    const auto uniform = [&](double low, double high) {
        return low + (high - low) * static_cast<double>(random() >> 11) * 0x1.0p-53;
    };
    bench::Interface interface;
    interface.latency_frames = static_cast<std::size_t>(uniform(100, 9000));
    interface.output_full_scale_v = uniform(0.8, 1.6);
    interface.input_full_scale_v = uniform(1.7, 2.6);
    interface.anti_alias = {4, 0.47 * interface.sample_rate_hz, 0.02};
    return interface;
}

struct Measured {
    measure::OneInputRecord record;
    measure::AnalysisRequest request;
};

Measured measure_with_one_input(const bench::Bench& bench, bool with_short = false) {
    auto port = bench::make_simulated_port(bench, bench::Hookup::loopback);
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = bench.interface.sample_rate_hz;
    settings.bench = {10e3, 1e6, 150e-12, 10e3};
    settings.generator_input = settings.coil_input = 0;
    const auto connect = [&](bench::Hookup hookup) {
        port->connect(hookup);
        return true;
    };
    auto record = measure::run_one_input_session(*port, settings, with_short, connect, {}, {});
    if (!record) {
        ADD_FAILURE() << record.error().message;
        return {};
    }
    Measured m{std::move(*record), {}};
    m.request.coil = m.record.coil.capture;
    m.request.bench = settings.bench;
    const auto standard = [&](bench::Hookup hookup) -> std::optional<measure::Standard> {
        const auto found = m.record.standards.find(hookup);
        if (found == m.record.standards.end()) return std::nullopt;
        return measure::Standard{found->second, std::string(bench::describe(hookup).name)};
    };
    m.request.open = standard(bench::Hookup::open);
    m.request.load = standard(bench::Hookup::load);
    m.request.short_circuit = standard(bench::Hookup::short_circuit);
    return m;
}

TEST(OneInput, InBandIsAsGoodAsWithTwo) {
    std::mt19937_64 random(3);
    for (int i = 0; i < 6; ++i) {
        const double f0 = 20e3 + 11e3 * i;
        const double q = 30 * std::pow(1.5, i);
        bench::Bench bench;
        const auto coil = test::series_coil(f0, q, 25e3 / (2 * std::numbers::pi * f0), 0);
        bench.coil = coil;
        bench.interface = strange_interface(random);
        bench.wiring.lead_ohm = 0.05;
        bench.seed = static_cast<std::uint64_t>(i) + 1;
        const Measured m = measure_with_one_input(bench, i % 2 == 0);
        EXPECT_NEAR(static_cast<double>(m.record.delay_frames), static_cast<double>(bench.interface.latency_frames), 5)
            << "the filters' own delay comes on top";
        const auto result = measure::analyze(m.request);
        ASSERT_TRUE(result.ok()) << result.error().message;
        const auto* r = result->resonance();
        ASSERT_NE(r, nullptr) << result->findings.front().text;
        // Without a stray the reactance is zero where L and C resonate. The figures are those of two inputs.
        EXPECT_NEAR(r->frequency_hz / f0, 1, 100e-6);
        EXPECT_NEAR(*r->q / q, 1, 0.01);
        EXPECT_NEAR(r->frequency_hz, f0, r->frequency_u95_hz);
        EXPECT_EQ(result->verdict(), measure::Verdict::good);
    }
}

TEST(OneInput, BelowBandWorksTheSame) {
    std::mt19937_64 random(4);
    for (const double turns : {1050.0, 1300.0, 1600.0}) {
        bench::Bench bench;
        bench::CoilOnBench coil;
        coil.description.secondary = {0.11, 0.5, turns, 0.25e-3, 0.15, 20, {}};
        coil.description.topload.push_back(model::Toroid{0.3, 0.075, 0.09});
        const model::CoilDescription described = coil.description;
        coil.deviation.diameter = 1.03;
        coil.deviation.length = 0.97;
        coil.deviation.topload = 0.96;
        coil.q = 150;
        bench.coil = coil;
        bench.interface = strange_interface(random);
        const auto circuit = bench::BenchCircuit::build(bench, bench::Hookup::foot);
        ASSERT_TRUE(circuit.ok());
        // Between the first resonance and the antiresonance above it; about 273 kHz with 1000 turns.
        const double about_hz = 273e3 * 1000 / turns;
        const auto truth = circuit->zero_reactance_hz(0.8 * about_hz, 1.25 * about_hz);
        ASSERT_TRUE(truth.has_value());
        Measured m = measure_with_one_input(bench);
        m.request.description = described;
        const auto result = measure::analyze(m.request);
        ASSERT_TRUE(result.ok()) << result.error().message;
        const auto* r = result->resonance();
        ASSERT_NE(r, nullptr) << result->findings.front().text;
        EXPECT_EQ(r->way, measure::Way::below_band);
        EXPECT_NEAR(r->frequency_hz, *truth, r->frequency_u95_hz);
        EXPECT_LE(r->frequency_u95_hz, 0.01 * *truth);
    }
}

TEST(OneInput, CapturesOfDifferentStreamsAreKeptApart) {
    bench::Bench bench;
    bench.coil = test::series_coil(50e3, 100, 0.08, 0);
    const Measured first = measure_with_one_input(bench);
    const Measured second = measure_with_one_input(bench);
    const auto rejection = [](const measure::AnalysisRequest& request) {
        const auto result = measure::analyze(request);
        EXPECT_TRUE(result.ok());
        EXPECT_EQ(result->resonance(), nullptr);
        return result->findings.empty() ? measure::Finding{} : result->findings.front();
    };
    auto mixed = first.request;
    mixed.load = second.request.load;
    EXPECT_EQ(rejection(mixed).code, measure::FindingCode::correction_stale);
    auto bare = first.request;
    bare.load.reset();
    EXPECT_EQ(rejection(bare).code, measure::FindingCode::uncorrected);
    bare = first.request;
    bare.open.reset();
    EXPECT_EQ(rejection(bare).code, measure::FindingCode::uncorrected);
    // Two inputs, corrected with a standard of one.
    auto two = test::request_for(bench, test::capture(bench, bench::Hookup::foot));
    two.open = first.request.open;
    EXPECT_EQ(rejection(two).code, measure::FindingCode::correction_stale);
    two.open = test::standard(bench, bench::Hookup::open);
    const auto fine = measure::analyze(two);
    ASSERT_TRUE(fine.ok());
    EXPECT_NE(fine->resonance(), nullptr);
}

TEST(OneInput, AnInputThatHearsNothingIsNoMeasurement) {
    bench::Bench bench;
    bench.coil = test::series_coil(50e3, 100, 0.08, 0);
    bench.faults.coil_input_dead = true;
    auto port = bench::make_simulated_port(bench, bench::Hookup::open);
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = 192000;
    settings.bench = {10e3, 1e6, 150e-12, 10e3};
    const auto record =
        measure::run_one_input_session(*port, settings, false, [](bench::Hookup) { return true; }, {}, {});
    ASSERT_FALSE(record.ok());
    EXPECT_EQ(record.error().kind, ErrorKind::device);
    EXPECT_NE(record.error().message.find("does not hear"), std::string::npos);
    settings.hookup = bench::Hookup::pickup;
    const auto pickup =
        measure::run_one_input_session(*port, settings, false, [](bench::Hookup) { return true; }, {}, {});
    ASSERT_FALSE(pickup.ok());
    EXPECT_EQ(pickup.error().kind, ErrorKind::usage);
}

TEST(OneInput, NotConnectingEndsTheSession) {
    bench::Bench bench;
    bench.coil = test::series_coil(50e3, 100, 0.08, 0);
    auto port = bench::make_simulated_port(bench, bench::Hookup::open);
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = 192000;
    settings.bench = {10e3, 1e6, 150e-12, 10e3};
    const auto record = measure::run_one_input_session(
        *port, settings, false, [](bench::Hookup hookup) { return hookup == bench::Hookup::open; }, {}, {});
    ASSERT_FALSE(record.ok());
    EXPECT_EQ(record.error().kind, ErrorKind::rejected);
}

}  // namespace
}  // namespace coldtune
