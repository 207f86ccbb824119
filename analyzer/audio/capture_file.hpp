// Captures on disk: WAV and FLAC through libsndfile, any PCM or float width.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::audio {

// Settings written into the file's comment so that a capture explains itself later (one line of JSON, schema
// "coldtune.capture.v1").
struct CaptureNote {
    std::string hookup;             // "" = unknown
    std::size_t period_frames = 0;  // 0 = unknown
    std::size_t settle_periods = 1;
    double reference_ohm = 0;  // 0 = unknown
    std::string device;
    std::string time_utc;  // ISO 8601
    std::string program_version;
};

struct CaptureFile {
    dsp::TwoChannelCapture capture;
    std::optional<CaptureNote> note;  // nullopt when the file has none (or somebody else's comment)
    int bits = 0;                     // of PCM; 32 or 64 for float
    bool floating = false;
};

enum class SampleFormat { pcm16, pcm24, pcm32, float32, float64 };

// Errors (bad_input), each one line naming the file: missing, empty, not audio, fewer than two channels, zero frames,
// NaN or infinite samples, 8-bit, a rate outside 8 kHz .. 1 MHz, longer than the stated limit (refused before it is
// allocated), truncated data.
Result<CaptureFile> read_capture(const std::filesystem::path& path);

// Written to a temporary beside the target and renamed, so a failure leaves nothing half-written. Format by extension
// (.wav, .flac). PCM is rounded to nearest, never dithered or clipped: a sample beyond full scale is an error.
Status write_capture(const std::filesystem::path& path, const dsp::TwoChannelCapture& capture, SampleFormat format,
                     const std::optional<CaptureNote>& note);

// A mono signal (a stimulus).
Status write_mono(const std::filesystem::path& path, const std::vector<double>& samples, double sample_rate_hz,
                  SampleFormat format, const std::optional<CaptureNote>& note);

}  // namespace coldtune::audio
