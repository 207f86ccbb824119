// Captures on disk: WAV and FLAC through libsndfile, any PCM or float width.
//
// Read: WAV (also WAVE_FORMAT_EXTENSIBLE and RF64) with 9 to 32 bit PCM or 32/64 bit float, FLAC with 16 or 24 bit.
// Full scale is 1: a PCM code is divided by 2^(bits - 1), valid bits sit on top of their container, so no code is
// rounded. Channel 1 is the generator side, channel 2 the coil side; further channels are left aside. Float samples
// beyond full scale are kept.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::audio {

// 175 s at 192 kHz, half a gigabyte in memory. Longer ones are for CaptureReader: four hours would take 44 GB.
inline constexpr std::size_t most_capture_frames = std::size_t{1} << 25;
inline constexpr double lowest_capture_rate_hz = 8e3;
inline constexpr double highest_capture_rate_hz = 384e3;

// Settings written into the file's comment so that a capture explains itself later (one line of JSON, schema
// "coldtune.capture.v1", in the ICMT entry of a WAV file or the comment of a FLAC file). Texts are cut to 100
// characters and rid of control characters, on writing and on reading.
struct CaptureNote {
    std::string hookup;             // "" = unknown
    std::size_t period_frames = 0;  // 0 = unknown
    std::size_t settle_periods = 1;
    double reference_ohm = 0;  // 0 = unknown
    std::string device;
    std::string time_utc;  // ISO 8601
    std::string program_version;
    // One input only: channel 1 is the stimulus, and only captures of the same open stream belong together. "" = both
    // channels were recorded.
    std::string held_stream = {};
};

struct CaptureFile {
    dsp::TwoChannelCapture capture;
    std::optional<CaptureNote> note;  // nullopt when the file has none of ours (or a damaged one)
    int bits = 0;                     // of PCM (the valid ones of a wider container); 32 or 64 for float
    bool floating = false;
    int channels = 2;  // of the file; only the first two are read
};

enum class SampleFormat { pcm16, pcm24, pcm32, float32, float64 };

// Errors (bad_input), each one line naming the file: missing, empty, not audio, fewer than two channels, zero frames,
// NaN or infinite samples, samples of a millionfold full scale and more, 8-bit, a compressed or unusual coding, a rate
// outside 8 kHz .. 384 kHz, more than most_capture_frames (refused before they are allocated), truncated or damaged
// data, also where the header claims more than the file holds.
Result<CaptureFile> read_capture(const std::filesystem::path& path);

// The same file piece by piece, for captures of any length: holds no more than the piece asked for.
class CaptureReader {
public:
    // Errors of read_capture that the header shows, but no length is too long.
    static Result<CaptureReader> open(const std::filesystem::path& path);
    CaptureReader(CaptureReader&&) noexcept;
    CaptureReader& operator=(CaptureReader&&) noexcept;
    ~CaptureReader();

    [[nodiscard]] std::uint64_t frames() const;  // as the header says, held against the file's length where it can be
    [[nodiscard]] double sample_rate_hz() const;
    [[nodiscard]] const std::optional<CaptureNote>& note() const;

    // The next frames, at most so many; fewer at the end, none after it. Errors of read_capture about samples.
    Result<dsp::TwoChannelCapture> next(std::size_t frames);

private:
    struct State;
    CaptureReader(std::filesystem::path path, std::unique_ptr<State> state);
    std::filesystem::path path_;
    std::unique_ptr<State> state_;
};

// Written to a temporary beside the target and renamed, so a failure leaves nothing half-written. Format by extension
// (.wav, .flac; FLAC holds pcm16 and pcm24). PCM is rounded to nearest, never dithered or clipped: a sample beyond full
// scale (the largest code is 1 - 2^(1 - bits)) is an error, and so is one that is not finite. The header's rate is a
// whole number; with a note the exact rate is kept in it and comes back, without a note a broken rate is an error. The
// same input gives the same bytes.
Status write_capture(const std::filesystem::path& path, const dsp::TwoChannelCapture& capture, SampleFormat format,
                     const std::optional<CaptureNote>& note);

// One channel (a stimulus, or the first channel of anything else). Same refusals as read_capture but for the number of
// channels.
struct MonoFile {
    std::vector<double> samples;
    double sample_rate_hz = 0;
    std::optional<CaptureNote> note;
};
Result<MonoFile> read_mono(const std::filesystem::path& path);

// A mono signal (a stimulus).
Status write_mono(const std::filesystem::path& path, const std::vector<double>& samples, double sample_rate_hz,
                  SampleFormat format, const std::optional<CaptureNote>& note);

}  // namespace coldtune::audio
