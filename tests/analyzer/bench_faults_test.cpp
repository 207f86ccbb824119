// Every fault a bench can have, as it looks in the recording.
#include "analyzer/bench/bench_faults.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "tests/support/bench_recording.hpp"

namespace coldtune::bench {
namespace {

TEST(BenchFaults, ClippingFlattens) {
    Bench bench = bare_bench();
    bench.interface.clip_level = 0.2;
    const auto got = record(bench, Hookup::loopback, tone(1000, 0.5, 9600));
    EXPECT_EQ(*std::max_element(got.coil.begin(), got.coil.end()), 0.2);
    EXPECT_GT(std::count(got.coil.begin(), got.coil.end(), 0.2), 1000);
}

TEST(BenchFaults, BlocksGoWrong) {
    const auto x = tone(1234, 0.5, 9600);
    const auto clean = record(bare_bench(), Hookup::foot, x);
    const auto with = [&](BlockFault::Kind kind) {
        Bench bench = bare_bench();
        bench.faults.blocks = {{kind, 4000, 300}};
        return record(bench, Hookup::foot, x);
    };
    const auto zeros = with(BlockFault::Kind::zeros);
    const auto repeated = with(BlockFault::Kind::repeated);
    const auto lost = with(BlockFault::Kind::lost);
    const auto inserted = with(BlockFault::Kind::inserted);
    for (std::size_t i = 0; i < 9600; ++i) {
        const bool inside = i >= 4000 && i < 4300;
        ASSERT_EQ(zeros.coil[i], inside ? 0 : clean.coil[i]);
        ASSERT_EQ(repeated.generator[i], inside ? clean.generator[i - 300] : clean.generator[i]);
        ASSERT_EQ(lost.coil[i], i < 4000 ? clean.coil[i] : i < 9300 ? clean.coil[i + 300] : 0);
        ASSERT_EQ(inserted.coil[i], i < 4000 ? clean.coil[i] : inside ? 0 : clean.coil[i - 300]);
    }
}

TEST(BenchFaults, SwappedAndDeadInputs) {
    const auto x = sampled(pulse, kRate, 3840);
    Bench bench = bare_bench();
    const auto clean = record(bench, Hookup::foot, x);
    bench.faults.swapped_inputs = true;
    EXPECT_EQ(record(bench, Hookup::foot, x).coil, clean.generator);
    EXPECT_EQ(record(bench, Hookup::foot, x).generator, clean.coil);
    bench.faults = {};
    bench.faults.coil_input_dead = true;
    bench.interface.coil_noise_dbfs = -90;
    const auto dead = record(bench, Hookup::foot, x);
    EXPECT_EQ(dead.generator, clean.generator);
    EXPECT_LT(rms(dead.coil), 1e-4);
    EXPECT_GT(rms(dead.coil), 1e-6);
}

TEST(BenchFaults, LostContactIsOpenThenRingsUpAfresh) {
    Bench bench = bare_bench();
    bench.interface.latency_frames = 480;
    const auto x = tone(46000, 0.5, 19200);
    const auto clean = record(bench, Hookup::foot, x);
    const auto open = record(bench, Hookup::open, x);
    bench.faults.changes = {{DeviceChange::Kind::contact_lost, 0.1, 0.02, 0, 0}};
    const auto got = record(bench, Hookup::foot, x);
    for (std::size_t i = 9700; i < 11500; ++i) ASSERT_NEAR(got.coil[i], open.coil[i], 1e-12);
    // An edge within a limited band rings ahead of itself: 0.5 / (pi n), n frames before, at both edges and inputs.
    for (std::size_t i = 0; i < 9000; ++i) ASSERT_NEAR(got.coil[i], clean.coil[i], 1e-3);
    // The loop through the reference resistor has Q 5: steady again 20 ms later, not at once.
    EXPECT_GT(std::abs(rms(got.coil, 11525, 11535) / rms(clean.coil, 11525, 11535) - 1), 0.02);
    EXPECT_NEAR(rms(got.coil, 15000, 17000) / rms(clean.coil, 15000, 17000), 1, 1e-3);
}

TEST(BenchFaults, ATouchDetunesForAWhile) {
    Bench bench = bare_bench();
    const auto x = tone(46000, 0.5, 19200);
    const auto clean = record(bench, Hookup::foot, x);
    bench.loading_f = 5e-12;
    const auto loaded = record(bench, Hookup::foot, x);
    bench.loading_f = 0;
    bench.faults.changes = {{DeviceChange::Kind::added_capacitance, 0.05, 0.1, 0.01, 5e-12}};
    const auto got = record(bench, Hookup::foot, x);
    for (std::size_t i = 0; i < 4800; ++i) ASSERT_EQ(got.coil[i], clean.coil[i]);
    for (std::size_t i = 5800; i < 13400; ++i) ASSERT_NEAR(got.coil[i], loaded.coil[i], 1e-12);
    for (std::size_t i = 14500; i < 19200; ++i) ASSERT_EQ(got.coil[i], clean.coil[i]);
    EXPECT_GT(std::abs(rms(loaded.coil) / rms(clean.coil) - 1), 0.01);
}

TEST(BenchFaults, GateGainEchoAndConversion) {
    std::vector<double> x = tone(5000, 0.5, 38400);
    for (std::size_t i = 19200; i < x.size(); ++i) x[i] *= 1e-3;
    Bench bench = bare_bench();
    const auto clean = record(bench, Hookup::loopback, x);

    bench.faults.gate_dbfs = -40;
    const auto gated = record(bench, Hookup::loopback, x);
    EXPECT_GT(rms(gated.coil, 9600, 19200), 0.3);
    EXPECT_EQ(rms(gated.coil, 30000, 38400), 0);

    bench.faults = {};
    bench.faults.automatic_gain_dbfs = -20;
    bench.faults.automatic_gain_s = 0.005;
    const auto driven = record(bench, Hookup::loopback, x);
    // The meter ripples at twice the tone by 1 / (2 pi 10 kHz 5 ms), 0.3 %.
    EXPECT_NEAR(rms(driven.coil, 12000, 19200) / (0.1 * std::numbers::sqrt2 / 2), 1, 0.005);
    // Never more than 20 dB up, however quiet.
    EXPECT_NEAR(rms(driven.coil, 30000, 38400) / rms(clean.coil, 30000, 38400), 10, 1e-9);

    bench.faults = {};
    bench.faults.echo_db = -20;
    bench.faults.echo_delay_s = 0.01;
    const auto echoed = record(bench, Hookup::loopback, x);
    for (std::size_t i = 960; i < x.size(); ++i)
        ASSERT_NEAR(echoed.coil[i], clean.coil[i] + 0.1 * clean.coil[i - 960], 1e-15);

    bench.faults = {};
    bench.faults.converted_rate_hz = 8000;
    bench.interface.coil_noise_dbfs = -60;
    const auto converted = record(bench, Hookup::loopback, x);
    EXPECT_LT(std::abs(line(converted.coil, 5000, 0, 9600)), 1e-3);
    EXPECT_LT(rms(converted.coil), 0.5 * rms(clean.coil));
}

}  // namespace
}  // namespace coldtune::bench
