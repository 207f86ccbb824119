// The simulated bench seen through the door of a real interface.
#include "analyzer/bench/simulated_port.hpp"
#include "tests/support/lumped_bench.hpp"

#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <numbers>
#include <thread>

namespace coldtune::bench {
namespace {

audio::SweepRequest request_of(std::size_t frames) {
    audio::SweepRequest request;
    request.device = "simulated";
    request.sample_rate_hz = 96000;
    request.stimulus.resize(frames);
    for (std::size_t i = 0; i < frames; ++i) {
        request.stimulus[i] = 0.5 * std::sin(2 * std::numbers::pi * 5000 * static_cast<double>(i) / 96000);
    }
    request.tail_frames = 500;
    return request;
}

TEST(SimulatedPort, ListsOneDuplexDevice) {
    const auto port = make_simulated_port(lumped_bench());
    const auto devices = port->devices();
    ASSERT_TRUE(devices.ok());
    ASSERT_EQ(devices->size(), 1u);
    EXPECT_EQ((*devices)[0].name, "simulated");
    EXPECT_EQ((*devices)[0].input_channels, 2);
    EXPECT_EQ((*devices)[0].default_rate_hz, 192000);
    EXPECT_EQ((*devices)[0].rates_hz.back(), 192000);
    Bench odd = lumped_bench();
    odd.interface.sample_rate_hz = 100000;
    EXPECT_EQ(make_simulated_port(odd)->devices()->front().rates_hz.back(), 100000);
}

TEST(SimulatedPort, RecordsStimulusAndTail) {
    const auto port = make_simulated_port(lumped_bench());
    double fraction = 0, peak = 0;
    int calls = 0;
    const auto recording = port->play_and_record(request_of(9600), {}, [&](const audio::Progress& progress) {
        EXPECT_GT(progress.fraction, fraction);
        fraction = progress.fraction;
        peak = std::max(peak, progress.peak_generator);
        ++calls;
    });
    ASSERT_TRUE(recording.ok()) << recording.error().message;
    EXPECT_EQ(recording->capture.frames(), 10100u);
    EXPECT_EQ(recording->capture.sample_rate_hz, 96000);
    EXPECT_EQ(recording->counters.frames, 10100u);
    EXPECT_EQ(recording->counters.input_overflows, 0u);
    EXPECT_EQ(recording->device, "simulated");
    EXPECT_EQ(fraction, 1);
    EXPECT_GT(calls, 10);
    EXPECT_NEAR(peak, 0.35, 0.01);  // 0.5 of 1.4 V into 2 V full scale
    // The ramp of the first 5 ms (480 frames, 1024 frames of latency before): the middle of it is at half level.
    double early = 0;
    for (std::size_t i = 1024 + 230; i < 1024 + 250; ++i)
        early = std::max(early, std::abs(recording->capture.generator[i]));
    EXPECT_NEAR(early, 0.175, 0.01);
}

TEST(SimulatedPort, EverySweepHasItsOwnNoiseAndEverySessionTheSame) {
    const auto first = make_simulated_port(lumped_bench());
    const auto second = make_simulated_port(lumped_bench());
    const auto sweep = [](SimulatedPort& port) {
        auto recording = port.play_and_record(request_of(4800), {}, {});
        EXPECT_TRUE(recording.ok());
        return recording->capture.coil;
    };
    const auto a = sweep(*first), b = sweep(*first);
    EXPECT_NE(a, b);
    EXPECT_EQ(a, sweep(*second));
    EXPECT_EQ(b, sweep(*second));
}

TEST(SimulatedPort, TheClipCanBeMoved) {
    const auto port = make_simulated_port(lumped_bench(), Hookup::short_circuit);
    const auto loudest = [&] {
        const auto recording = port->play_and_record(request_of(9600), {}, {});
        double peak = 0;
        for (const double x : recording->capture.coil) peak = std::max(peak, std::abs(x));
        return peak;
    };
    EXPECT_LT(loudest(), 1e-3);
    port->connect(Hookup::load);
    EXPECT_NEAR(loudest(), 0.175, 0.01);
}

TEST(SimulatedPort, InputsCanBeTakenTheOtherWayRound) {
    const auto port = make_simulated_port(lumped_bench(), Hookup::load);
    auto request = request_of(9600);
    request.generator_input = 1;
    request.coil_input = 0;
    const auto recording = port->play_and_record(request, {}, {});
    ASSERT_TRUE(recording.ok());
    EXPECT_LT(std::abs(recording->capture.generator[5000 - 1]), 0.19);
    double peak = 0;
    for (const double x : recording->capture.coil) peak = std::max(peak, std::abs(x));
    EXPECT_NEAR(peak, 0.35, 0.01);
}

TEST(SimulatedPort, StopsWhenAsked) {
    const auto port = make_simulated_port(lumped_bench(), Hookup::foot, 1.0);
    std::stop_source stop;
    const auto begun = std::chrono::steady_clock::now();
    const auto recording =
        port->play_and_record(request_of(96000 * 20), stop.get_token(), [&](const audio::Progress& progress) {
            if (progress.fraction > 0.01) stop.request_stop();
        });
    ASSERT_FALSE(recording.ok());
    EXPECT_EQ(recording.error().kind, ErrorKind::rejected);
    EXPECT_EQ(recording.error().message, "stopped");
    EXPECT_LT(std::chrono::steady_clock::now() - begun, std::chrono::seconds(15));  // of a sweep of 20 s
    EXPECT_TRUE(port->play_and_record(request_of(960), {}, {}).ok());
}

TEST(SimulatedPort, KeepsTimeWhenPaced) {
    const auto port = make_simulated_port(lumped_bench(), Hookup::foot, 1.0);
    auto request = request_of(28800);
    request.tail_frames = 0;
    const auto begun = std::chrono::steady_clock::now();
    ASSERT_TRUE(port->play_and_record(request, {}, {}).ok());
    EXPECT_GE(std::chrono::steady_clock::now() - begun, std::chrono::milliseconds(300));
}

TEST(SimulatedPort, FailsAsADeviceDoes) {
    const auto kind = [](const Bench& bench, const audio::SweepRequest& request) {
        const auto recording = make_simulated_port(bench)->play_and_record(request, {}, {});
        EXPECT_FALSE(recording.ok());
        return recording ? ErrorKind::usage : recording.error().kind;
    };
    auto request = request_of(9600);
    request.device = "another";
    EXPECT_EQ(kind(lumped_bench(), request), ErrorKind::device);
    request = request_of(9600);
    request.sample_rate_hz = 384000;
    EXPECT_EQ(kind(lumped_bench(), request), ErrorKind::device);
    request = request_of(9600);
    request.coil_input = 2;
    EXPECT_EQ(kind(lumped_bench(), request), ErrorKind::device);
    request.coil_input = 0;
    EXPECT_EQ(kind(lumped_bench(), request), ErrorKind::device);
    request = request_of(9600);
    request.stimulus[5] = 1.5;
    EXPECT_EQ(kind(lumped_bench(), request), ErrorKind::bad_input);
    Bench vanishing = lumped_bench();
    vanishing.faults.device_lost_s = 0.05;
    EXPECT_EQ(kind(vanishing, request_of(9600)), ErrorKind::device);
    Bench impossible = lumped_bench();
    impossible.wiring.reference_ohm = -1;
    EXPECT_EQ(kind(impossible, request_of(9600)), ErrorKind::bad_input);
    EXPECT_FALSE(make_simulated_port(impossible)->devices().ok());
}

}  // namespace
}  // namespace coldtune::bench
