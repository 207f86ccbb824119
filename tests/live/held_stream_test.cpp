// A live stream that stays open between sweeps, through PortAudio against a private JACK server.
#include <gtest/gtest.h>
#include <signal.h>

#include <chrono>
#include <optional>
#include <random>
#include <thread>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "tests/support/jack_server.hpp"
#include "tests/support/live_rig.hpp"
#include "tests/support/tape.hpp"

namespace coldtune::audio {
namespace {

using testing::exact_delay;
using testing::expect_fault;
using testing::JackCoil;
using testing::JackServer;
using testing::noise_request;
using testing::since;
using Clock = std::chrono::steady_clock;

HoldRequest hold_request(const JackCoil& coil, double seconds) {
    HoldRequest request;
    request.device = coil.name();
    request.sample_rate_hz = coil.rate_hz();
    request.most_stimulus_frames = request.most_recorded_frames = static_cast<std::size_t>(seconds * coil.rate_hz());
    return request;
}

// The bypass client gives back what it gets: every sweep of a held stream must come back bit for bit, after the same
// delay.
TEST(HeldStream, EverySweepComesBackAfterTheSameDelay) {
    const JackServer server({.rate_hz = 96000});
    const JackCoil coil({"--hookup", "bypass", "--freewheel"});
    const auto port = make_portaudio_port();
    auto held = port->hold(hold_request(coil, 4));
    ASSERT_TRUE(held.ok()) << held.error().message;
    EXPECT_EQ((*held)->sample_rate_hz(), 96000);
    std::optional<std::size_t> first_delay;
    for (const double seconds : {1.0, 0.3, 2.0}) {
        const auto request = noise_request(coil, seconds);
        const auto recording = (*held)->play_and_record(request.stimulus, request.tail_frames, {}, {});
        ASSERT_TRUE(recording.ok()) << recording.error().message;
        const auto delay = exact_delay(request, recording->capture.coil);
        ASSERT_TRUE(delay) << "it did not come back as it was";
        if (!first_delay) first_delay = delay;
        EXPECT_EQ(*delay, *first_delay);
        std::this_thread::sleep_for(std::chrono::milliseconds(300));  // a hand that moves the clip
    }
    const auto too_long = noise_request(coil, 5);
    const auto refused = (*held)->play_and_record(too_long.stimulus, 0, {}, {});
    ASSERT_FALSE(refused.ok());
    EXPECT_EQ(refused.error().kind, ErrorKind::usage);
}

TEST(HeldStream, ALoopIsReadWhileItRunsAndInStep) {
    const JackServer server({.rate_hz = 96000});
    const JackCoil coil({"--hookup", "bypass"});
    const auto port = make_portaudio_port();
    auto held = port->hold(hold_request(coil, 2));
    ASSERT_TRUE(held.ok()) << held.error().message;
    constexpr std::size_t period = 4800;
    std::vector<double> stimulus(period);
    std::mt19937 random(5);
    std::uniform_real_distribution<double> level(-0.5, 0.5);
    for (double& x : stimulus) x = level(random);
    ASSERT_TRUE((*held)->loop(stimulus, 6 * period).ok());
    std::optional<std::size_t> first_lag;
    for (int i = 1; i <= 8; ++i) {
        // The third and later periods: the ramp is over and the delay passed.
        const std::uint64_t begin = static_cast<std::uint64_t>(i + 2) * period;
        const auto waited_since = Clock::now();
        while (true) {
            const auto frames = (*held)->recorded_frames();
            ASSERT_TRUE(frames.ok()) << frames.error().message;
            if (*frames >= begin + period) break;
            ASSERT_LT(since(waited_since), 10);
        }
        const auto capture = (*held)->read(begin, period);
        ASSERT_TRUE(capture.ok()) << capture.error().message;
        // One rotation of the period, the same every time.
        std::optional<std::size_t> lag;
        for (std::size_t k = 0; k < period && !lag; ++k) {
            bool same = true;
            for (std::size_t n = 0; n < period && same; ++n) {
                same = capture->coil[(n + k) % period] == static_cast<double>(static_cast<float>(stimulus[n]));
            }
            if (same) lag = k;
        }
        ASSERT_TRUE(lag) << "period " << i << " is no rotation of what was played";
        if (!first_lag) first_lag = lag;
        EXPECT_EQ(*lag, *first_lag);
    }
    EXPECT_FALSE((*held)->read(0, period).ok()) << "overwritten long ago";
    ASSERT_TRUE((*held)->silence().ok());
    const std::size_t quiet_from = coil.tape().recorded().size();
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    const auto samples = coil.tape().recorded();
    ASSERT_GT(samples.size(), quiet_from + 9600);
    // One buffer may still have been on its way.
    for (std::size_t i = quiet_from + 4800; i < samples.size(); ++i) ASSERT_EQ(samples[i], 0.0F) << i;
}

TEST(HeldStream, AServerThatDiesMeanwhileIsAFault) {
    JackServer server({.rate_hz = 96000});
    const JackCoil coil({"--hookup", "bypass"});
    const auto port = make_portaudio_port();
    auto held = port->hold(hold_request(coil, 2));
    ASSERT_TRUE(held.ok()) << held.error().message;
    ::kill(server.pid(), SIGKILL);
    std::this_thread::sleep_for(std::chrono::milliseconds(200));
    const auto request = noise_request(coil, 0.5);
    const auto begin = Clock::now();
    const auto recording = (*held)->play_and_record(request.stimulus, request.tail_frames, {}, {});
    expect_fault(recording, "");
    held->reset();
    // The contract's second, and ending a child that hangs.
    EXPECT_LT(since(begin), 3);
}

}  // namespace
}  // namespace coldtune::audio
