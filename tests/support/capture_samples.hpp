// Captures made for tests, and what reading a file of one gives.
#pragma once

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdint>
#include <filesystem>
#include <random>
#include <string>
#include <utility>

#include "analyzer/audio/capture_file.hpp"

namespace coldtune::testing {

using audio::CaptureFile;
using audio::CaptureNote;

// Random PCM codes of this width over full scale, both extremes among them.
inline dsp::TwoChannelCapture random_codes(int bits, std::size_t frames, double rate_hz, std::uint64_t seed = 1) {
    std::mt19937_64 random(seed);
    const std::int64_t half = std::int64_t{1} << (bits - 1);
    std::uniform_int_distribution<std::int64_t> code(-half, half - 1);
    dsp::TwoChannelCapture capture{rate_hz, {}, {}};
    for (std::size_t i = 0; i < frames; ++i) {
        capture.generator.push_back(static_cast<double>(code(random)) / static_cast<double>(half));
        capture.coil.push_back(static_cast<double>(code(random)) / static_cast<double>(half));
    }
    capture.generator[0] = -1.0;
    capture.coil[0] = static_cast<double>(half - 1) / static_cast<double>(half);
    return capture;
}

inline CaptureFile reread(const std::filesystem::path& path) {
    auto file = audio::read_capture(path);
    if (file) return std::move(*file);
    ADD_FAILURE() << file.error().message;
    return {};
}

inline std::string message(const Error& error, ErrorKind kind = ErrorKind::bad_input) {
    EXPECT_EQ(error.kind, kind) << error.message;
    EXPECT_THAT(error.message, ::testing::Not(::testing::HasSubstr("\n")));
    return error.message;
}
inline std::string refusal(const std::filesystem::path& path) {
    const auto file = audio::read_capture(path);
    if (file) {
        ADD_FAILURE() << path << " was read";
        return {};
    }
    EXPECT_THAT(file.error().message, ::testing::HasSubstr(path.filename().string()));
    return message(file.error());
}

inline const CaptureNote full_note{"foot", 131072, 2, 9987.25, "Interface \u03A9, USB", "2026-11-25T08:20:18Z",
                                   "0.1.0"};

}  // namespace coldtune::testing
