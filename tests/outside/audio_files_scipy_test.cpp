// Audio files of others read by us, ours read by others: scipy.io.wavfile and Python's wave module for WAV, the
// format's own description for what those two cannot write (see fixtures/make_audio_files.py).
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstring>
#include <nlohmann/json.hpp>
#include <random>
#include <sstream>

#include "analyzer/audio/capture_file.hpp"
#include "tests/support/scipy_python.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::audio {
namespace {

using nlohmann::json;
using testing::ScratchFolder;

// Files of others: the samples follow from the rule in fixtures/make_audio_files.py, written down here once more.

struct Fixture {
    const char* name;
    double rate_hz;
    int channels;
    int bits;
    bool floating = false;
    bool note = false;
};

constexpr std::size_t fixture_frames = 1001;

double expected_sample(const Fixture& file, std::size_t frame, std::size_t channel) {
    const double largest = file.floating ? 1.5 : 1 - std::ldexp(1.0, 1 - file.bits);
    const double smallest = file.floating ? -1.5 : -1.0;
    const double second = file.floating ? std::ldexp(1.0, -30) : -std::ldexp(1.0, 1 - file.bits);
    if (channel < 2 && frame == 0) return channel == 0 ? largest : smallest;
    if (channel < 2 && frame == 1) return channel == 0 ? second : 0.0;
    const std::uint64_t s = frame * static_cast<std::size_t>(file.channels) + channel;
    const auto x = static_cast<std::int32_t>(static_cast<std::uint32_t>(s * 2654435761U + 12345U));
    if (!file.floating) return std::ldexp(x >> (32 - file.bits), 1 - file.bits);
    const double value = x / 3.0 / 2147483648.0;
    return file.bits == 32 ? double{static_cast<float>(value)} : value;
}

class FilesOfOthers : public ::testing::TestWithParam<Fixture> {};

TEST_P(FilesOfOthers, AreReadExactly) {
    const Fixture expected = GetParam();
    const std::filesystem::path path = std::filesystem::path(COLDTUNE_FIXTURES) / "captures/formats" / expected.name;
    if (expected.channels == 1) {
        const auto mono = read_mono(path);
        ASSERT_TRUE(mono.ok()) << mono.error().message;
        EXPECT_EQ(mono->sample_rate_hz, expected.rate_hz);
        ASSERT_EQ(mono->samples.size(), fixture_frames);
        for (std::size_t i = 0; i < fixture_frames; ++i) {
            ASSERT_EQ(mono->samples[i], expected_sample(expected, i, 0)) << "frame " << i;
        }
        EXPECT_FALSE(read_capture(path).ok());
        return;
    }
    const auto file = read_capture(path);
    ASSERT_TRUE(file.ok()) << file.error().message;
    EXPECT_EQ(file->capture.sample_rate_hz, expected.rate_hz);
    EXPECT_EQ(file->bits, expected.bits);
    EXPECT_EQ(file->floating, expected.floating);
    ASSERT_EQ(file->capture.frames(), fixture_frames);
    for (std::size_t i = 0; i < fixture_frames; ++i) {
        ASSERT_EQ(file->capture.generator[i], expected_sample(expected, i, 0)) << "frame " << i;
        ASSERT_EQ(file->capture.coil[i], expected_sample(expected, i, 1)) << "frame " << i;
    }
    ASSERT_EQ(file->note.has_value(), expected.note);
    if (expected.note) {
        EXPECT_EQ(file->note->hookup, "foot");
        EXPECT_EQ(file->note->period_frames, 500U);
        EXPECT_EQ(file->note->settle_periods, 2U);
        EXPECT_EQ(file->note->reference_ohm, 10000.5);
        EXPECT_EQ(file->note->device, "outside \u03A9");
        EXPECT_EQ(file->note->time_utc, "2026-01-02T03:04:05Z");
        EXPECT_EQ(file->note->program_version, "9.9");
    }
}

INSTANTIATE_TEST_SUITE_P(All, FilesOfOthers,
                         ::testing::Values(Fixture{"scipy_pcm16_48k.wav", 48000, 2, 16},
                                           Fixture{"scipy_pcm32_192k.wav", 192000, 2, 32},
                                           Fixture{"scipy_float32_96k.wav", 96000, 2, 32, true},
                                           Fixture{"scipy_float64_44k1.wav", 44100, 2, 64, true},
                                           Fixture{"wave_pcm24_96k.wav", 96000, 2, 24},
                                           Fixture{"wave_pcm24_three_channels_48k.wav", 48000, 3, 24},
                                           Fixture{"wave_pcm16_mono_192k.wav", 192000, 1, 16},
                                           Fixture{"bytes_20_in_24_96k.wav", 96000, 2, 20},
                                           Fixture{"bytes_24_in_32_192k.wav", 192000, 2, 24, false, true},
                                           Fixture{"bytes_rf64_pcm16_48k.wav", 48000, 2, 16},
                                           Fixture{"bytes_flac16_48k.flac", 48000, 2, 16},
                                           Fixture{"bytes_flac24_192k.flac", 192000, 2, 24, false, true}),
                         [](const auto& named) {
                             std::string name = named.param.name;
                             for (char& c : name) c = c == '.' ? '_' : c;
                             return name;
                         });

// Ours, read by others.

std::vector<double> doubles_in(const std::filesystem::path& path) {
    const std::string bytes = testing::bytes_of(path);
    std::vector<double> values(bytes.size() / sizeof(double));
    std::memcpy(values.data(), bytes.data(), values.size() * sizeof(double));
    return values;
}

std::vector<double> interleaved(const dsp::TwoChannelCapture& capture) {
    std::vector<double> values;
    for (std::size_t i = 0; i < capture.frames(); ++i) {
        values.push_back(capture.generator[i]);
        values.push_back(capture.coil[i]);
    }
    return values;
}

struct Ours {
    const char* name;
    SampleFormat format;
    double rate_hz;
    int bits;
    const char* stored;  // numpy's type
};

TEST(FilesOfOurs, AreReadExactlyByOthers) {
    const std::string python = testing::scipy_python();
    ASSERT_FALSE(python.empty()) << testing::no_scipy_python;
    const ScratchFolder folder;
    const std::vector<Ours> all = {
        {"a.wav", SampleFormat::pcm16, 48000, 16, "int16"},     {"b.wav", SampleFormat::pcm24, 96000, 24, "int32"},
        {"c.wav", SampleFormat::pcm32, 192000, 32, "int32"},    {"d.wav", SampleFormat::float32, 384000, 16, "float32"},
        {"e.wav", SampleFormat::float64, 44100, 32, "float64"}, {"f.flac", SampleFormat::pcm16, 88200, 16, nullptr},
        {"g.flac", SampleFormat::pcm24, 192000, 24, nullptr}};
    const CaptureNote note{"winding", 4096, 3, 4700, "Interface \u03A9", "2026-11-25T08:20:18Z", "0.1.0"};
    std::mt19937_64 random(7);
    std::vector<dsp::TwoChannelCapture> captures;
    std::vector<std::string> arguments = {python,
                                          std::string(COLDTUNE_SOURCE_DIR) + "/tests/outside/read_audio_files.py"};
    for (const Ours& file : all) {
        dsp::TwoChannelCapture capture{file.rate_hz, {}, {}};
        const std::int64_t half = std::int64_t{1} << (file.bits - 1);
        std::uniform_int_distribution<std::int64_t> code(-half, half - 1);
        for (int i = 0; i < 3001; ++i) {
            capture.generator.push_back(std::ldexp(static_cast<double>(code(random)), 1 - file.bits));
            capture.coil.push_back(std::ldexp(static_cast<double>(code(random)), 1 - file.bits));
        }
        const Status written = write_capture(folder / file.name, capture, file.format, note);
        ASSERT_TRUE(written.ok()) << written.error().message;
        const auto values = interleaved(capture);
        folder.put(std::string(file.name) + ".meant",
                   {reinterpret_cast<const char*>(values.data()), values.size() * sizeof(double)});
        captures.push_back(std::move(capture));
        arguments.push_back((folder / file.name).string());
    }
    const testing::Outcome read = testing::run(arguments, std::chrono::milliseconds(120000));
    ASSERT_EQ(read.code, 0) << read.errors;
    std::istringstream lines(read.output);
    for (std::size_t i = 0; i < all.size(); ++i) {
        SCOPED_TRACE(all[i].name);
        std::string line;
        ASSERT_TRUE(std::getline(lines, line));
        const json found = json::parse(line);
        EXPECT_EQ(found.at("rate"), all[i].rate_hz);
        if (all[i].stored != nullptr) {
            EXPECT_EQ(found.at("shape"), json({3001, 2}));
            EXPECT_EQ(found.at("stored"), all[i].stored);
            EXPECT_TRUE(found.at("riff_size_right"));
            EXPECT_EQ(doubles_in(folder / (std::string(all[i].name) + ".f64")), interleaved(captures[i]));
        } else {
            EXPECT_EQ(found.at("channels"), 2);
            EXPECT_EQ(found.at("bits"), all[i].bits);
            EXPECT_EQ(found.at("frames"), 3001);
            EXPECT_EQ(found.at("md5"), found.at("md5_meant"));
        }
        const json comment = json::parse(found.at("comment").get<std::string>());
        EXPECT_EQ(comment.at("schema"), "coldtune.capture.v1");
        EXPECT_EQ(comment.at("hookup"), "winding");
        EXPECT_EQ(comment.at("period_frames"), 4096);
        EXPECT_EQ(comment.at("settle_periods"), 3);
        EXPECT_EQ(comment.at("reference_ohm"), 4700.0);
        EXPECT_EQ(comment.at("device"), "Interface \u03A9");
        EXPECT_EQ(comment.at("sample_rate_hz"), all[i].rate_hz);
    }
}

}  // namespace
}  // namespace coldtune::audio
