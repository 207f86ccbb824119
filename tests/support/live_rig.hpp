// What the tests of live audio share: noise that comes back, how late, and how a fault has to look.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <optional>
#include <random>
#include <string>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "tests/support/jack_server.hpp"

namespace coldtune::testing {

using audio::Recording;
using audio::SweepRequest;

inline double since(std::chrono::steady_clock::time_point begin) {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
}

// White noise between 0.1 s of silence at either end; every float of it is different.
inline SweepRequest noise_request(const JackCoil& coil, double seconds) {
    SweepRequest request;
    request.device = coil.name();
    request.sample_rate_hz = coil.rate_hz();
    const auto silence = static_cast<std::size_t>(0.1 * coil.rate_hz());
    std::mt19937 random(11);
    std::uniform_real_distribution<double> level(-0.5, 0.5);
    request.stimulus.assign(silence, 0.0);
    for (auto n = static_cast<std::size_t>(seconds * coil.rate_hz()); n > 0; --n) {
        request.stimulus.push_back(level(random));
    }
    request.stimulus.insert(request.stimulus.end(), silence, 0.0);
    request.tail_frames = silence;
    return request;
}

// Frames by which the recording lags, if it is otherwise the stimulus bit for bit.
inline std::optional<std::size_t> exact_delay(const SweepRequest& request, const std::vector<double>& recorded) {
    const auto sounds = [](double x) { return x != 0; };
    const auto played = std::find_if(request.stimulus.begin(), request.stimulus.end(), sounds);
    const auto heard = std::find_if(recorded.begin(), recorded.end(), sounds);
    const auto delay = (heard - recorded.begin()) - (played - request.stimulus.begin());
    if (delay < 0) return std::nullopt;
    for (std::size_t i = 0; i + static_cast<std::size_t>(delay) < recorded.size(); ++i) {
        const double x =
            i < request.stimulus.size() ? static_cast<double>(static_cast<float>(request.stimulus[i])) : 0.0;
        if (recorded[i + static_cast<std::size_t>(delay)] != x) return std::nullopt;
    }
    return static_cast<std::size_t>(delay);
}

// A device error that says what happened.
inline void expect_fault(const Result<Recording>& recording, const std::string& words) {
    ASSERT_FALSE(recording.ok());
    EXPECT_EQ(recording.error().kind, ErrorKind::device) << recording.error().message;
    EXPECT_THAT(recording.error().message, ::testing::HasSubstr(words));
    EXPECT_THAT(recording.error().message, ::testing::Not(::testing::HasSubstr("the audio process")))
        << "the child crashed";
    EXPECT_EQ(recording.error().message.find('\n'), std::string::npos);
}

}  // namespace coldtune::testing
