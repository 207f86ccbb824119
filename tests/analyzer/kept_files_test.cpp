// Captures on their way into a book: not a bit is lost, whatever they are kept as.
#include "analyzer/book/kept_files.hpp"

#include <gmock/gmock.h>
#include <sys/stat.h>

#include "tests/support/book_rig.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using testing::bytes_of;
using ::testing::HasSubstr;

class KeptFiles : public test::BookRig {
protected:
    Kept keep(const char* name, KeepAs as) {
        auto kept = keep_capture(book_, places_, folder_ / name, "foot", as);
        if (!kept) {
            ADD_FAILURE() << kept.error().message;
            return {};
        }
        if (kept->fresh) book_.captures.push_back(kept->capture);
        return std::move(*kept);
    }
    void expect_same(const Kept& kept, const audio::CaptureFile& original) {
        const auto back = read_kept_capture(places_, kept.capture);
        ASSERT_TRUE(back.ok()) << back.error().message;
        EXPECT_EQ(back->capture.generator, original.capture.generator);
        EXPECT_EQ(back->capture.coil, original.capture.coil);
        EXPECT_EQ(back->capture.sample_rate_hz, original.capture.sample_rate_hz);
        ASSERT_EQ(back->note.has_value(), original.note.has_value());
        if (back->note) {
            EXPECT_EQ(back->note->period_frames, original.note->period_frames);
        }
    }
    std::string refusal(const KeptFile& kept) {
        const Status sound = check_kept(places_, kept);
        return sound ? "sound" : sound.error().message;
    }

    Book book_;
    Places places_ = *places_of(folder_ / "bench.json");
};

TEST_F(KeptFiles, PcmBecomesFlacAndBackWithoutLoss) {
    const auto original = *audio::read_capture(at("foot.wav"));
    const Kept flac = keep("foot.wav", KeepAs::flac);
    EXPECT_EQ(flac.capture.kept.file, "0001-foot.flac");
    EXPECT_EQ(flac.remark, "");
    EXPECT_LT(flac.capture.kept.bytes, fs::file_size(folder_ / "foot.wav"));
    EXPECT_EQ(flac.capture.origin, "foot.wav");
    EXPECT_EQ(flac.capture.device, "made up");
    expect_same(flac, original);
    book_.captures.clear();
    fs::copy_file(places_.captures / "0001-foot.flac", folder_ / "foot.flac");
    const Kept wav = keep("foot.flac", KeepAs::wav);
    EXPECT_EQ(wav.capture.kept.file, "0002-foot.wav");
    expect_same(wav, original);
}

TEST_F(KeptFiles, WhatIsAlreadyAskedForIsCopiedByteForByte) {
    const Kept wav = keep("foot.wav", KeepAs::wav);
    EXPECT_EQ(bytes_of(places_.captures / wav.capture.kept.file), bytes_of(folder_ / "foot.wav"));
    EXPECT_EQ(wav.capture.kept.sha256, wav.capture.origin_sha256);
}

TEST_F(KeptFiles, FloatBecomesFlacOnlyWhereItHoldsWholeNumbers) {
    // What a 24-bit converter gives fits, although the file is a float one.
    const Kept fits = keep("open.wav", KeepAs::flac);
    EXPECT_EQ(fits.capture.kept.file, "0001-open.flac");
    EXPECT_EQ(fits.capture.hookup, "open");
    expect_same(fits, *audio::read_capture(at("open.wav")));

    audio::CaptureFile fine = *foot_;
    fine.capture.coil[1000] += 0x1p-26;
    write("fine.wav", fine, audio::SampleFormat::float64);
    const Kept wav = keep("fine.wav", KeepAs::flac);
    EXPECT_EQ(wav.capture.kept.file, "0002-foot.wav");
    EXPECT_THAT(wav.remark, HasSubstr("fine.wav is kept as WAV: its samples are finer than the 24 bits FLAC holds"));
    EXPECT_EQ(bytes_of(places_.captures / wav.capture.kept.file), bytes_of(folder_ / "fine.wav"));

    audio::CaptureFile loud = *foot_;
    loud.capture.coil[1000] = 1.25;  // beyond full scale: only a float file holds it
    write("loud.wav", loud, audio::SampleFormat::float32);
    expect_same(keep("loud.wav", KeepAs::flac), *audio::read_capture(at("loud.wav")));
}

TEST_F(KeptFiles, AFileOfMoreChannelsKeepsThemAll) {
    fs::copy_file(fs::path(COLDTUNE_FIXTURES) / "captures/formats/wave_pcm24_three_channels_48k.wav",
                  folder_ / "three.wav");
    const Kept kept = keep("three.wav", KeepAs::flac);
    EXPECT_THAT(kept.remark, HasSubstr("more than two channels"));
    EXPECT_EQ(bytes_of(places_.captures / kept.capture.kept.file), bytes_of(folder_ / "three.wav"));
}

TEST_F(KeptFiles, RecordingsFromMemoryAreKeptInTheNarrowestFormThatHoldsThem) {
    const auto keep_it = [&](const audio::CaptureFile& recording, KeepAs as) {
        auto kept = keep_recording(book_, places_, recording, "foot", as);
        EXPECT_TRUE(kept.ok()) << (kept ? "" : kept.error().message);
        expect_same(*kept, recording);
        const auto back = audio::read_capture(places_.captures / kept->capture.kept.file);
        return kept->capture.kept.file.substr(9) + " " + std::to_string(back->bits) + (back->floating ? "f" : "");
    };
    EXPECT_EQ(keep_it(*foot_, KeepAs::flac), ".flac 24");
    EXPECT_EQ(keep_it(*foot_, KeepAs::wav), ".wav 32f");
    audio::CaptureFile fine = *foot_;
    fine.capture.coil[1000] = 0.1F;
    EXPECT_EQ(keep_it(fine, KeepAs::flac), ".wav 32f");
    fine.capture.coil[1000] = 0.1;
    EXPECT_EQ(keep_it(fine, KeepAs::flac), ".wav 64f");
}

TEST_F(KeptFiles, TheSameContentIsKeptOnce) {
    const Kept first = keep("foot.wav", KeepAs::flac);
    fs::copy_file(folder_ / "foot.wav", folder_ / "again.wav");
    EXPECT_EQ(keep("again.wav", KeepAs::flac).capture.kept.file, first.capture.kept.file);
    EXPECT_FALSE(keep("again.wav", KeepAs::wav).fresh);
    // Also when somebody names the kept file itself.
    EXPECT_FALSE(keep("bench.captures/0001-foot.flac", KeepAs::flac).fresh);
    // A kept file that was spoiled does not stand for a sound one.
    folder_.put("bench.captures/0001-foot.flac", "spoiled");
    EXPECT_TRUE(keep("foot.wav", KeepAs::flac).fresh);
}

TEST_F(KeptFiles, DamageIsSeenAndNamed) {
    const Kept kept = keep("foot.wav", KeepAs::flac);
    const fs::path path = places_.captures / kept.capture.kept.file;
    EXPECT_EQ(refusal(kept.capture.kept), "sound");
    std::string bytes = bytes_of(path);
    bytes[bytes.size() / 2] = static_cast<char>(bytes[bytes.size() / 2] ^ 1);
    folder_.put("bench.captures/0001-foot.flac", bytes);
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("0001-foot.flac: its checksum is not the one it was kept with"));
    EXPECT_FALSE(read_kept_capture(places_, kept.capture).ok());
    folder_.put("bench.captures/0001-foot.flac", bytes.substr(1));
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("changed or cut short"));
    fs::remove(path);
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("is missing; put it back"));
    fs::create_symlink(folder_ / "foot.wav", path);
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("no ordinary file"));
    fs::remove(path);
    ASSERT_EQ(::mkfifo(path.c_str(), 0600), 0);
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("no ordinary file"));
    fs::remove_all(places_.captures);
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("bench.captures: there is no such folder"));
    fs::create_directory_symlink(folder_.path(), places_.captures);
    EXPECT_THAT(refusal(kept.capture.kept), HasSubstr("bench.captures: is a link"));
    EXPECT_THAT(keep_capture(book_, places_, folder_ / "foot.wav", "foot", KeepAs::wav).error().message,
                HasSubstr("is a link"));
}

TEST_F(KeptFiles, AFullDiskKeepsNothingHalf) {
    {
        const testing::SmallDisk small(100'000);
        EXPECT_FALSE(keep_capture(book_, places_, folder_ / "foot.wav", "foot", KeepAs::flac).ok());
        EXPECT_FALSE(keep_capture(book_, places_, folder_ / "foot.wav", "foot", KeepAs::wav).ok());
        EXPECT_FALSE(keep_text(places_, "run-0001.json", std::string(200'000, 'x')).ok());
    }
    EXPECT_TRUE(fs::is_empty(places_.captures));
}

TEST_F(KeptFiles, NoNameIsGivenTwice) {
    fs::create_directory(places_.captures);
    folder_.put("bench.captures/0041-foot.wav", "left over");
    EXPECT_EQ(keep("foot.wav", KeepAs::flac).capture.kept.file, "0042-foot.flac");
    EXPECT_EQ(unknown_files(book_, places_), std::vector<std::string>{"0041-foot.wav"});
}

}  // namespace
}  // namespace coldtune::book
