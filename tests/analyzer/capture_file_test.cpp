#include "analyzer/audio/capture_file.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <array>
#include <cmath>
#include <filesystem>
#include <optional>
#include <random>
#include <string>
#include <string_view>
#include <vector>

#include "tests/support/capture_samples.hpp"
#include "tests/support/scratch_folder.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune::audio {
namespace {

using testing::bytes_of;
using testing::full_note;
using ::testing::HasSubstr;
using testing::message;
using testing::random_codes;
using testing::refusal;
using testing::reread;
using testing::ScratchFolder;

constexpr std::array pcm = {SampleFormat::pcm16, SampleFormat::pcm24, SampleFormat::pcm32};

int bits_of(SampleFormat format) {
    switch (format) {
        case SampleFormat::pcm16:
            return 16;
        case SampleFormat::pcm24:
            return 24;
        case SampleFormat::float64:
            return 64;
        default:
            return 32;
    }
}

void expect_note(const std::optional<CaptureNote>& note, const CaptureNote& expected) {
    ASSERT_TRUE(note.has_value());
    EXPECT_EQ(note->hookup, expected.hookup);
    EXPECT_EQ(note->period_frames, expected.period_frames);
    EXPECT_EQ(note->settle_periods, expected.settle_periods);
    EXPECT_EQ(note->reference_ohm, expected.reference_ohm);
    EXPECT_EQ(note->device, expected.device);
    EXPECT_EQ(note->time_utc, expected.time_utc);
    EXPECT_EQ(note->program_version, expected.program_version);
}

// Round trips: equality is exact everywhere, no code may be touched.

TEST(CaptureFile, PcmComesBackBitForBit) {
    const ScratchFolder folder;
    for (const SampleFormat format : pcm) {
        for (const char* name : {"c.wav", "c.flac"}) {
            if (format == SampleFormat::pcm32 && std::string_view(name) == "c.flac") continue;
            const auto capture = random_codes(bits_of(format), 20001, 192000);
            const Status written = write_capture(folder / name, capture, format, full_note);
            ASSERT_TRUE(written.ok()) << written.error().message;
            const CaptureFile file = reread(folder / name);
            EXPECT_EQ(file.capture.generator, capture.generator);
            EXPECT_EQ(file.capture.coil, capture.coil);
            EXPECT_EQ(file.capture.sample_rate_hz, 192000);
            EXPECT_EQ(file.bits, bits_of(format));
            EXPECT_FALSE(file.floating);
            expect_note(file.note, full_note);
        }
    }
}

TEST(CaptureFile, FloatComesBackBitForBit) {
    const ScratchFolder folder;
    std::mt19937_64 random(2);
    std::normal_distribution<double> normal(0, 2);  // beyond full scale too
    dsp::TwoChannelCapture capture{48000, {}, {}};
    for (int i = 0; i < 20001; ++i) {
        capture.generator.push_back(normal(random));
        capture.coil.push_back(std::ldexp(normal(random), -40));
    }
    ASSERT_TRUE(write_capture(folder / "d.wav", capture, SampleFormat::float64, std::nullopt).ok());
    const CaptureFile wide = reread(folder / "d.wav");
    EXPECT_EQ(wide.capture.generator, capture.generator);
    EXPECT_EQ(wide.capture.coil, capture.coil);
    EXPECT_EQ(wide.bits, 64);
    EXPECT_TRUE(wide.floating);
    EXPECT_FALSE(wide.note.has_value());

    for (double& sample : capture.generator) sample = static_cast<float>(sample);
    for (double& sample : capture.coil) sample = static_cast<float>(sample);
    ASSERT_TRUE(write_capture(folder / "f.WAV", capture, SampleFormat::float32, std::nullopt).ok());
    const CaptureFile narrow = reread(folder / "f.WAV");
    EXPECT_EQ(narrow.capture.generator, capture.generator);
    EXPECT_EQ(narrow.capture.coil, capture.coil);
    EXPECT_EQ(narrow.bits, 32);
    EXPECT_TRUE(narrow.floating);
}

TEST(CaptureFile, EveryUsualRateInBothContainers) {
    const ScratchFolder folder;
    for (const double rate : {8000.0, 44100.0, 48000.0, 88200.0, 96000.0, 176400.0, 192000.0, 352800.0, 384000.0}) {
        for (const char* name : {"r.wav", "r.flac"}) {
            const auto capture = random_codes(24, 100, rate);
            const Status written = write_capture(folder / name, capture, SampleFormat::pcm24, std::nullopt);
            ASSERT_TRUE(written.ok()) << written.error().message;
            EXPECT_EQ(reread(folder / name).capture.sample_rate_hz, rate);
        }
    }
}

TEST(CaptureFile, PcmIsRoundedToTheNearestCodeNeverClipped) {
    const ScratchFolder folder;
    const double code = std::ldexp(1.0, -15);
    const dsp::TwoChannelCapture capture{48000,
                                         {0.4 * code, 0.6 * code, -0.4 * code, -0.6 * code, 0.5 * code},
                                         {1.5 * code, 2.5 * code, -0.5 * code, 1 - 1.4 * code, -1 - 0.4 * code}};
    ASSERT_TRUE(write_capture(folder / "r.wav", capture, SampleFormat::pcm16, std::nullopt).ok());
    const CaptureFile file = reread(folder / "r.wav");
    EXPECT_EQ(file.capture.generator, (std::vector<double>{0, code, 0, -code, 0}));  // ties to even
    EXPECT_EQ(file.capture.coil, (std::vector<double>{2 * code, 2 * code, 0, 1 - code, -1}));

    folder.put("kept.wav", "what stood here before");
    for (const double bad : {1.0, 1 - 0.4 * code, -1 - 0.6 * code, 2.0, -3.0, std::nan(""), HUGE_VAL}) {
        const dsp::TwoChannelCapture loud{48000, {0, bad}, {0, 0}};
        const Status written = write_capture(folder / "kept.wav", loud, SampleFormat::pcm16, std::nullopt);
        ASSERT_FALSE(written.ok()) << bad;
        EXPECT_THAT(message(written.error()), HasSubstr("channel 1 holds"));
        EXPECT_THAT(written.error().message, HasSubstr("at frame 2, beyond full scale; lower the level"));
        EXPECT_EQ(bytes_of(folder / "kept.wav"), "what stood here before");
    }
    for (const SampleFormat format : {SampleFormat::float32, SampleFormat::float64}) {
        const dsp::TwoChannelCapture bad{48000, {0, std::nan("")}, {0, 0}};
        EXPECT_FALSE(write_capture(folder / "kept.wav", bad, format, std::nullopt).ok());
    }
    const dsp::TwoChannelCapture huge{48000, {1e300}, {0}};
    EXPECT_FALSE(write_capture(folder / "kept.wav", huge, SampleFormat::float32, std::nullopt).ok());
}

TEST(CaptureFile, TheSameCaptureGivesTheSameBytes) {
    const ScratchFolder folder;
    const auto capture = random_codes(16, 500, 96000);
    const auto write_all = [&](const std::string& prefix) {
        for (const char* name : {"16.wav", "16.flac"}) {
            ASSERT_TRUE(write_capture(folder / (prefix + name), capture, SampleFormat::pcm16, full_note).ok());
        }
        ASSERT_TRUE(write_capture(folder / (prefix + "f.wav"), capture, SampleFormat::float32, full_note).ok());
    };
    write_all("a");
    ::usleep(1'100'000);  // a stored time of day would have moved on
    write_all("b");
    for (const std::string name : {"16.wav", "16.flac", "f.wav"}) {
        EXPECT_EQ(bytes_of(folder / ("a" + name)), bytes_of(folder / ("b" + name))) << name;
    }
}

TEST(CaptureFile, MonoRoundTrip) {
    const ScratchFolder folder;
    const auto capture = random_codes(24, 1001, 96000);
    ASSERT_TRUE(write_mono(folder / "m.wav", capture.coil, 96000, SampleFormat::pcm24, full_note).ok());
    const auto mono = read_mono(folder / "m.wav");
    ASSERT_TRUE(mono.ok()) << mono.error().message;
    EXPECT_EQ(mono->samples, capture.coil);
    EXPECT_EQ(mono->sample_rate_hz, 96000);
    expect_note(mono->note, full_note);
    EXPECT_THAT(refusal(folder / "m.wav"), HasSubstr("one channel; two are needed"));
    ASSERT_TRUE(write_capture(folder / "c.wav", capture, SampleFormat::pcm24, full_note).ok());
    EXPECT_EQ(read_mono(folder / "c.wav")->samples, capture.generator);  // the first of two
}

// The note

TEST(CaptureFile, ANoteMayBeMostlyUnknown) {
    const ScratchFolder folder;
    for (const char* name : {"n.wav", "n.flac"}) {
        ASSERT_TRUE(write_capture(folder / name, random_codes(16, 10, 48000), SampleFormat::pcm16, CaptureNote{}).ok());
        expect_note(reread(folder / name).note, CaptureNote{});
    }
}

TEST(CaptureFile, KeepsAnExactRateInTheNote) {
    const ScratchFolder folder;
    const double exact = 192000.0 * (1 + 1.3e-6);
    const auto capture = random_codes(16, 10, exact);
    ASSERT_TRUE(write_capture(folder / "e.wav", capture, SampleFormat::pcm16, full_note).ok());
    EXPECT_EQ(reread(folder / "e.wav").capture.sample_rate_hz, exact);
    const Status bare = write_capture(folder / "e.wav", capture, SampleFormat::pcm16, std::nullopt);
    ASSERT_FALSE(bare.ok());
    EXPECT_THAT(message(bare.error()), HasSubstr("broken sample rate"));
}

TEST(CaptureFile, LongAndStrangeTextsDoNotLoseTheMeasurement) {
    const ScratchFolder folder;
    CaptureNote note = full_note;
    note.device = std::string(5000, 'd');
    note.hookup = "a\nb\x1b[2J";
    ASSERT_TRUE(write_capture(folder / "l.wav", random_codes(16, 10, 48000), SampleFormat::pcm16, note).ok());
    auto read = reread(folder / "l.wav").note;
    ASSERT_TRUE(read.has_value());
    EXPECT_EQ(read->device, std::string(100, 'd') + "...");
    EXPECT_EQ(read->hookup, "a?b?[2J");
    EXPECT_EQ(read->reference_ohm, note.reference_ohm);
    // Characters of the upper planes take twelve bytes each as escapes: the texts give way to the numbers.
    for (std::string* text : {&note.device, &note.hookup, &note.time_utc, &note.program_version}) {
        text->clear();
        for (int i = 0; i < 100; ++i) *text += "\U0001F600";
    }
    ASSERT_TRUE(write_capture(folder / "l.wav", random_codes(16, 10, 48000), SampleFormat::pcm16, note).ok());
    read = reread(folder / "l.wav").note;
    ASSERT_TRUE(read.has_value());
    EXPECT_EQ(read->device, "");
    EXPECT_EQ(read->period_frames, note.period_frames);
}

TEST(CaptureFile, RefusesToWriteWhatCannotBeRead) {
    const ScratchFolder folder;
    const auto ok = random_codes(16, 10, 48000);
    const auto refused = [&](const std::filesystem::path& path, const dsp::TwoChannelCapture& capture,
                             SampleFormat format = SampleFormat::pcm16, ErrorKind kind = ErrorKind::bad_input) {
        const Status written = write_capture(path, capture, format, std::nullopt);
        EXPECT_FALSE(written.ok());
        return written ? std::string() : message(written.error(), kind);
    };
    EXPECT_THAT(refused(folder / "c.mp3", ok, SampleFormat::pcm16, ErrorKind::usage), HasSubstr(".wav or .flac"));
    EXPECT_THAT(refused(folder / "c", ok, SampleFormat::pcm16, ErrorKind::usage), HasSubstr(".wav or .flac"));
    for (const SampleFormat format : {SampleFormat::pcm32, SampleFormat::float32, SampleFormat::float64}) {
        EXPECT_THAT(refused(folder / "c.flac", ok, format, ErrorKind::usage), HasSubstr("16- or 24-bit"));
    }
    EXPECT_THAT(refused(folder / "none/c.wav", ok), HasSubstr("make its folder first"));
    EXPECT_THAT(refused(folder / "c.wav", {48000, {}, {}}), HasSubstr("no samples"));
    EXPECT_THAT(refused(folder / "c.wav", {48000, {0, 0}, {0}}), HasSubstr("differ in length"));
    for (const double rate : {0.0, -48000.0, 7999.0, 400000.0, std::nan("")}) {
        EXPECT_THAT(refused(folder / "c.wav", {rate, {0}, {0}}), HasSubstr("outside 8 kHz to 384 kHz"));
    }
    EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

TEST(CaptureFile, AFullDiskLeavesNothingHalfWritten) {
    const ScratchFolder folder;
    for (const char* name : {"full.wav", "full.flac"}) {
        folder.put(name, "what stood here before");
        const testing::SmallDisk small(4000);
        const Status written =
            write_capture(folder / name, random_codes(24, 50000, 96000), SampleFormat::pcm24, std::nullopt);
        ASSERT_FALSE(written.ok());
        EXPECT_THAT(message(written.error()), HasSubstr("could not be written"));
        EXPECT_EQ(bytes_of(folder / name), "what stood here before");
    }
    EXPECT_EQ(std::distance(std::filesystem::directory_iterator(folder.path()), {}), 2);
}

}  // namespace
}  // namespace coldtune::audio
