#include "analyzer/audio/capture_file.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <array>
#include <cmath>
#include <cstring>
#include <limits>
#include <random>

#include "tests/support/scratch_folder.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune::audio {
namespace {

using testing::bytes_of;
using ::testing::HasSubstr;
using ::testing::Not;
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

// Random PCM codes of this width over full scale, both extremes among them.
dsp::TwoChannelCapture random_codes(int bits, std::size_t frames, double rate_hz, std::uint64_t seed = 1) {
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

CaptureFile reread(const std::filesystem::path& path) {
    auto file = read_capture(path);
    if (file) return std::move(*file);
    ADD_FAILURE() << file.error().message;
    return {};
}

std::string message(const Error& error, ErrorKind kind = ErrorKind::bad_input) {
    EXPECT_EQ(error.kind, kind) << error.message;
    EXPECT_THAT(error.message, Not(HasSubstr("\n")));
    return error.message;
}
std::string refusal(const std::filesystem::path& path) {
    const auto file = read_capture(path);
    if (file) {
        ADD_FAILURE() << path << " was read";
        return {};
    }
    EXPECT_THAT(file.error().message, HasSubstr(path.filename().string()));
    return message(file.error());
}

const CaptureNote full_note{"foot", 131072, 2, 9987.25, "Interface \u03A9, USB", "2026-11-25T08:20:18Z", "0.1.0"};

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

// Byte by byte: WAV files as others, or nobody sane, would write them.

std::string little(std::uint64_t value, int bytes) {
    std::string text;
    for (int i = 0; i < bytes; ++i) text.push_back(static_cast<char>((value >> (8 * i)) & 0xFF));
    return text;
}
std::string chunk(std::string_view name, const std::string& content) {
    return std::string(name) + little(content.size(), 4) + content + std::string(content.size() % 2, '\0');
}
std::string riff(const std::string& parts) {
    return "RIFF" + little(parts.size() + 4, 4) + "WAVE" + parts;
}
std::string format_chunk(int tag, int channels, std::uint64_t rate, int bits) {
    const auto frame = static_cast<std::uint64_t>(channels * bits / 8);
    return chunk("fmt ", little(static_cast<std::uint64_t>(tag), 2) + little(static_cast<std::uint64_t>(channels), 2) +
                             little(rate, 4) + little(rate * frame, 4) + little(frame, 2) +
                             little(static_cast<std::uint64_t>(bits), 2));
}
const std::string some_data(400, '\x11');
std::string wav(int tag, int channels, std::uint64_t rate, int bits, const std::string& data = some_data) {
    return riff(format_chunk(tag, channels, rate, bits) + chunk("data", data));
}

TEST(CaptureFile, TheByteBuilderItselfIsReadable) {
    const ScratchFolder folder;
    const CaptureFile file = reread(folder.put("b.wav", wav(1, 2, 48000, 16)));
    EXPECT_EQ(file.capture.frames(), 100U);
    EXPECT_EQ(file.capture.coil[99], 0x1111 / 32768.0);
}

TEST(CaptureFile, RefusesWhatIsNoCapture) {
    const ScratchFolder folder;
    EXPECT_THAT(refusal(folder / "none.wav"), HasSubstr("there is no such file"));
    EXPECT_THAT(refusal(folder / "none/none.wav"), HasSubstr("there is no such file"));
    std::filesystem::create_directory(folder / "folder.wav");
    EXPECT_THAT(refusal(folder / "folder.wav"), HasSubstr("is a folder"));
    EXPECT_THAT(refusal("/dev/zero"), HasSubstr("is not an ordinary file"));
    EXPECT_THAT(refusal(folder.put("empty.wav", "")), HasSubstr("is empty"));
    EXPECT_THAT(refusal(folder.put("short.wav", "RI")), HasSubstr("is not a WAV or FLAC file"));
    EXPECT_THAT(refusal(folder.put("text.wav", "Dear reader,\nthis is a letter.\n")),
                HasSubstr("is not a WAV or FLAC"));
    EXPECT_THAT(refusal(folder.put("text.flac", "fLaC and then nothing of the kind")),
                HasSubstr("cannot be read as audio"));
    EXPECT_THAT(refusal(folder.put("avi.wav", "RIFF" + little(100, 4) + "AVI " + std::string(96, 'x'))),
                HasSubstr("is not a WAV or FLAC"));
    EXPECT_THAT(refusal(folder.put("sun.wav", ".snd" + std::string(100, '\1'))), HasSubstr("is not a WAV or FLAC"));
}

TEST(CaptureFile, RefusesWhatCannotBeMeasuredWith) {
    const ScratchFolder folder;
    EXPECT_THAT(refusal(folder.put("mono.wav", wav(1, 1, 48000, 16))), HasSubstr("has one channel; two are needed"));
    EXPECT_THAT(refusal(folder.put("frames.wav", wav(1, 2, 48000, 16, ""))), HasSubstr("holds no samples"));
    EXPECT_THAT(refusal(folder.put("eight.wav", wav(1, 2, 48000, 8))), HasSubstr("8-bit samples are too coarse"));
    EXPECT_THAT(refusal(folder.put("mulaw.wav", wav(7, 2, 48000, 8))), HasSubstr("compressed or coded"));
    EXPECT_THAT(refusal(folder.put("fast.wav", wav(1, 2, 400000, 16))),
                HasSubstr("400000 Hz is outside 8 kHz to 384 kHz"));
    EXPECT_THAT(refusal(folder.put("faster.wav", wav(1, 2, 384001, 16))), HasSubstr("outside 8 kHz"));
    EXPECT_THAT(refusal(folder.put("slow.wav", wav(1, 2, 7999, 16))), HasSubstr("outside 8 kHz"));
    for (const std::uint64_t rate : {0U, 0x7FFFFFFFU, 0xFFFFFFFFU})
        refusal(folder.put("rate.wav", wav(1, 2, rate, 16)));
    EXPECT_THAT(refusal(folder.put("channels.wav", wav(1, 0, 48000, 16))), HasSubstr("frames have no size"));
    refusal(folder.put("tag.wav", wav(0x1234, 2, 48000, 16)));
    // A width of nothing, or of more than there is.
    for (const int bits : {0, 64, 65535}) refusal(folder.put("bits.wav", wav(1, 2, 48000, bits)));
}

TEST(CaptureFile, RefusesSamplesThatAreNoNumbers) {
    const ScratchFolder folder;
    for (const double bad : {std::nan(""), HUGE_VAL, -HUGE_VAL, 1e6, -1e300}) {
        std::string data;
        for (const double sample : {0.5, 0.25, -0.5, bad}) {
            std::uint64_t bits = 0;
            std::memcpy(&bits, &sample, sizeof bits);
            data += little(bits, 8);
        }
        EXPECT_THAT(refusal(folder.put("nan.wav", wav(3, 2, 48000, 64, data))), HasSubstr("channel 2 holds"));
        EXPECT_THAT(refusal(folder / "nan.wav"), HasSubstr("at frame 2"));
    }
}

TEST(CaptureFile, RefusesHeadersThatPromiseMoreThanThereIs) {
    const ScratchFolder folder;
    const auto claiming = [](std::uint64_t size) {
        return riff(format_chunk(1, 2, 48000, 16) + "data" + little(size, 4) + some_data);
    };
    EXPECT_THAT(refusal(folder.put("more.wav", claiming(404))), HasSubstr("promises 404 bytes of samples but 400"));
    EXPECT_THAT(refusal(folder.put("four.wav", claiming(0xFFFFFFFF))), HasSubstr("promises 4294967295 bytes"));
    EXPECT_THAT(refusal(folder.put("zero.wav", claiming(0))), HasSubstr("holds no samples"));
    EXPECT_THAT(refusal(folder.put("odd.wav", claiming(399))), HasSubstr("middle of a frame"));
    EXPECT_THAT(refusal(folder.put("nodata.wav", riff(format_chunk(1, 2, 48000, 16)))), HasSubstr("no samples in it"));
    EXPECT_THAT(refusal(folder.put("noformat.wav", riff(chunk("data", some_data)))),
                HasSubstr("how its samples are stored"));
    EXPECT_THAT(refusal(folder.put("junk.wav", riff("junk" + little(0xFFFFFFF0, 4) + some_data))),
                HasSubstr("inside its part"));
    EXPECT_THAT(refusal(folder.put("bell.wav", riff("\x1b\a\n!" + little(4000, 4) + some_data))),
                HasSubstr("\"??\?!\""));
    // Less than the file holds is fine: what follows the samples is somebody's own.
    EXPECT_EQ(reread(folder.put("less.wav", claiming(200))).capture.frames(), 50U);
    std::string many;
    for (int i = 0; i < 100000; ++i) many += chunk("junk", "");
    EXPECT_THAT(refusal(folder.put("many.wav", riff(many + format_chunk(1, 2, 48000, 16) + chunk("data", some_data)))),
                HasSubstr("no samples in it"));
}

TEST(CaptureFile, RefusesTooLongBeforeAllocating) {
    const ScratchFolder folder;
    const std::uint64_t bytes = (most_capture_frames + 1) * 4;
    const auto path = folder.put("long.wav", "RIFF" + little(bytes + 36, 4) + "WAVE" + format_chunk(1, 2, 48000, 16) +
                                                 "data" + little(bytes, 4));
    std::filesystem::resize_file(path, 44 + bytes);  // a hole, no blocks
    EXPECT_THAT(refusal(path), HasSubstr("33554433 frames are too many; at most 33554432"));
}

TEST(CaptureFile, EveryPrefixOfAFileIsRefused) {
    const ScratchFolder folder;
    const auto capture = random_codes(24, 300, 96000);
    for (const char* name : {"p.wav", "p.flac"}) {
        ASSERT_TRUE(write_capture(folder / name, capture, SampleFormat::pcm24, full_note).ok());
        const std::string whole = bytes_of(folder / name);
        for (std::size_t length = 0; length < whole.size(); length += 1 + length / 64) {
            const auto path = folder.put(std::string("cut_") + name, std::string_view(whole).substr(0, length));
            EXPECT_FALSE(read_capture(path).ok()) << name << " cut to " << length;
        }
        const auto last = folder.put(std::string("cut_") + name, std::string_view(whole).substr(0, whole.size() - 1));
        EXPECT_FALSE(read_capture(last).ok()) << name;
    }
}

TEST(CaptureFile, AChangedFlacFrameIsRefused) {
    const ScratchFolder folder;
    const auto capture = random_codes(24, 3000, 96000);
    ASSERT_TRUE(write_capture(folder / "c.flac", capture, SampleFormat::pcm24, std::nullopt).ok());
    const std::string whole = bytes_of(folder / "c.flac");
    std::mt19937_64 random(9639);
    for (int round = 0; round < 200; ++round) {
        std::string changed = whole;
        // From the last third: within a frame, whose checksum must notice one changed bit.
        const std::size_t at = whole.size() - 1 - random() % (whole.size() / 3);
        changed[at] = static_cast<char>(changed[at] ^ (1 << (random() % 8)));
        const auto path = folder.put("changed.flac", changed);
        const auto file = read_capture(path);
        EXPECT_FALSE(file.ok()) << "bit changed in byte " << at << " of " << whole.size();
    }
}

TEST(CaptureFile, FlacWithoutOrWithAnAbsurdLengthIsRefused) {
    const ScratchFolder folder;
    ASSERT_TRUE(write_capture(folder / "c.flac", random_codes(16, 300, 48000), SampleFormat::pcm16, std::nullopt).ok());
    const std::string whole = bytes_of(folder / "c.flac");
    // The stream information (RFC 9639) starts at byte 8; its bytes 13 (low half) to 17 hold the number of frames.
    ASSERT_EQ(static_cast<unsigned char>(whole[24]) * 256 + static_cast<unsigned char>(whole[25]), 300);
    std::string absurd = whole;
    absurd[21] = static_cast<char>(absurd[21] | 0x0F);
    for (std::size_t i = 22; i < 26; ++i) absurd[i] = '\xFF';
    EXPECT_THAT(refusal(folder.put("absurd.flac", absurd)), HasSubstr("frames are too many"));
    std::string unknown = whole;
    unknown[24] = unknown[25] = '\0';
    refusal(folder.put("unknown.flac", unknown));
    std::string more = whole;
    more[25] = static_cast<char>(more[25] + 1);
    EXPECT_THAT(refusal(folder.put("more.flac", more)), HasSubstr("300 of 301 frames can be read"));
}

TEST(CaptureFile, RandomChangesAreReadOrRefused) {
    const ScratchFolder folder;
    const auto capture = random_codes(16, 200, 48000);
    std::mt19937_64 random(20261125);
    std::size_t read = 0;
    for (const char* name : {"c.wav", "c.flac"}) {
        ASSERT_TRUE(write_capture(folder / name, capture, SampleFormat::pcm16, full_note).ok());
        const std::string whole = bytes_of(folder / name);
        for (int round = 0; round < 1500; ++round) {
            std::string changed = whole;
            for (std::size_t i = 0; i <= random() % 4; ++i) {
                changed[random() % std::min<std::size_t>(changed.size(), 500)] = static_cast<char>(random() % 256);
            }
            const auto file = read_capture(folder.put("changed", changed));
            if (file) {
                ++read;
                EXPECT_EQ(file->capture.generator.size(), file->capture.coil.size());
                for (const double sample : file->capture.coil) EXPECT_LT(std::abs(sample), 1e6);
            } else {
                EXPECT_THAT(file.error().message, Not(HasSubstr("\n")));
            }
        }
    }
    EXPECT_GT(read, 100U);  // changes within the comment or the samples leave a readable file
}

TEST(CaptureFile, CommentsOfOthersAndDamagedNotesAreNoNotes) {
    const ScratchFolder folder;
    const auto commented = [&](const std::string& comment) {
        const std::string list = chunk("LIST", "INFO" + chunk("ICMT", comment + '\0'));
        return reread(folder.put("i.wav", riff(format_chunk(1, 2, 48000, 16) + list + chunk("data", some_data))));
    };
    const std::string ours =
        R"({"schema":"coldtune.capture.v1","hookup":"foot","period_frames":64,"later":[1,{"a":2}]})";
    ASSERT_TRUE(commented(ours).note.has_value());
    EXPECT_EQ(commented(ours).note->period_frames, 64U);
    EXPECT_EQ(commented(ours).note->settle_periods, 1U);
    for (const char* other :
         {"", "take 3", "{", "{}", "[1]", "null", R"({"schema":"coldtune.capture.v2","hookup":"foot"})",
          R"({"schema":1})", R"({"schema":"coldtune.capture.v1","period_frames":-1})",
          R"({"schema":"coldtune.capture.v1","period_frames":1.5})",
          R"({"schema":"coldtune.capture.v1","period_frames":1e30})", R"({"schema":"coldtune.capture.v1","hookup":5})",
          R"({"schema":"coldtune.capture.v1","reference_ohm":"10k"})",
          R"({"schema":"coldtune.capture.v1","settle_periods":1e9})",
          R"({"schema":"coldtune.capture.v1","a":[[[[[[1]]]]]]})", "\xff\xfe{"}) {
        EXPECT_FALSE(commented(other).note.has_value()) << other;
        EXPECT_EQ(commented(other).capture.sample_rate_hz, 48000);
    }
    EXPECT_FALSE(commented(ours.substr(0, ours.size() - 1) + std::string(3000, ' ') + '}').note.has_value());
    // A rate that contradicts the header does not count, the rest does.
    const auto other_rate = commented(R"({"schema":"coldtune.capture.v1","sample_rate_hz":48001})");
    EXPECT_TRUE(other_rate.note.has_value());
    EXPECT_EQ(other_rate.capture.sample_rate_hz, 48000);
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
