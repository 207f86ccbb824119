// Files that are damaged, cut short, or were never captures: each is refused with a sentence, none is half read.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstring>
#include <random>
#include <string>

#include "analyzer/audio/capture_file.hpp"
#include "tests/support/capture_samples.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::audio {
namespace {

using testing::bytes_of;
using testing::full_note;
using ::testing::HasSubstr;
using ::testing::Not;
using testing::random_codes;
using testing::refusal;
using testing::reread;
using testing::ScratchFolder;

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

TEST(HostileCapture, TheByteBuilderItselfIsReadable) {
    const ScratchFolder folder;
    const CaptureFile file = reread(folder.put("b.wav", wav(1, 2, 48000, 16)));
    EXPECT_EQ(file.capture.frames(), 100U);
    EXPECT_EQ(file.capture.coil[99], 0x1111 / 32768.0);
}

TEST(HostileCapture, RefusesWhatIsNoCapture) {
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

TEST(HostileCapture, RefusesWhatCannotBeMeasuredWith) {
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

TEST(HostileCapture, RefusesSamplesThatAreNoNumbers) {
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

TEST(HostileCapture, RefusesHeadersThatPromiseMoreThanThereIs) {
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

TEST(HostileCapture, RefusesTooLongBeforeAllocating) {
    const ScratchFolder folder;
    const std::uint64_t bytes = (most_capture_frames + 1) * 4;
    const auto path = folder.put("long.wav", "RIFF" + little(bytes + 36, 4) + "WAVE" + format_chunk(1, 2, 48000, 16) +
                                                 "data" + little(bytes, 4));
    std::filesystem::resize_file(path, 44 + bytes);  // a hole, no blocks
    EXPECT_THAT(refusal(path), HasSubstr("33554433 frames are too many; at most 33554432"));
}

TEST(HostileCapture, EveryPrefixOfAFileIsRefused) {
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

TEST(HostileCapture, AChangedFlacFrameIsRefused) {
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

TEST(HostileCapture, FlacWithoutOrWithAnAbsurdLengthIsRefused) {
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
    EXPECT_THAT(refusal(folder.put("unknown.flac", unknown)), HasSubstr("does not say how long it is"));
    std::string more = whole;
    more[25] = static_cast<char>(more[25] + 1);
    EXPECT_THAT(refusal(folder.put("more.flac", more)), HasSubstr("300 of 301 frames can be read"));
}

TEST(HostileCapture, RandomChangesAreReadOrRefused) {
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

TEST(HostileCapture, CommentsOfOthersAndDamagedNotesAreNoNotes) {
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

}  // namespace
}  // namespace coldtune::audio
