// measure on a disk without room: no sweep for nothing, none lost.
#include "analyzer/cli/rescue.hpp"

#include <gmock/gmock.h>
#include <sys/types.h>
#include <unistd.h>

#include <cstdlib>

#include "tests/support/book_rig.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune {
namespace {

namespace fs = std::filesystem;
using testing::coldtune;
using ::testing::HasSubstr;
using testing::Said;

class Rescue : public test::BookRig {
protected:
    [[nodiscard]] std::string path() const { return at("bench.json"); }
    static Said with(std::vector<std::string> command, const std::vector<std::string>& rest) {
        command.insert(command.end(), rest.begin(), rest.end());
        return coldtune(command);
    }
};

TEST_F(Rescue, ASweepOutlivesADiskWithoutRoom) {
    const std::vector<std::string> sweep = {"measure",     "--device",  "simulated", "--hookup", "open",
                                            "--reference", "10k",       "--rate",    "48000",    "--period",
                                            "24000",       "--periods", "3"};
    const testing::ScratchFolder state;
    ::setenv("XDG_STATE_HOME", state.path().c_str(), 1);
    const auto kept = [&] {
        std::vector<fs::path> files;
        for (const auto& entry : fs::recursive_directory_iterator(state.path()))
            if (entry.is_regular_file()) files.push_back(entry.path());
        return files;
    };
    // WAV of 32 bits does not fit any more, the same as FLAC does: 3 periods and a tail, some 80,000 frames.
    constexpr rlim_t between = 580'000;
    {
        const testing::SmallDisk small(between);
        const Said said = with(sweep, {"--book", path(), "--keep", "wav"});
        EXPECT_EQ(said.code, 3) << said.err;
        EXPECT_THAT(said.err, HasSubstr("File too large"));
        EXPECT_THAT(said.err, HasSubstr("; the capture is kept as " + (state.path() / "coldtune/rescued").string()));
        EXPECT_THAT(said.out, HasSubstr("verdict"));  // and the number is not lost either
    }
    ASSERT_EQ(kept().size(), 1U);
    EXPECT_TRUE(audio::read_capture(kept()[0]).ok());
    {
        const testing::SmallDisk small(between);
        const Said said = with(sweep, {"--out", at("lead.wav")});
        EXPECT_EQ(said.code, 3) << said.err;
        EXPECT_THAT(said.err, HasSubstr("; the capture is kept as "));
        EXPECT_FALSE(fs::exists(at("lead.wav")));
    }
    EXPECT_EQ(kept().size(), 2U);  // and none was written over
    {
        const testing::SmallDisk small(2000);
        const Said said = with(sweep, {"--book", path()});
        EXPECT_EQ(said.code, 3) << said.err;
        EXPECT_THAT(said.err, HasSubstr("no other place took the capture"));
    }
    ::unsetenv("XDG_STATE_HOME");
}

TEST_F(Rescue, RoomIsLookedForBeforeTheSweep) {
    EXPECT_TRUE(cli::check_room({{folder_.path(), 1000}, {"", 1000}, {folder_ / "nowhere", 1000}}).ok());
    // More than any disk there is; both needs are of one disk.
    const Status none = cli::check_room({{folder_.path(), std::uint64_t{1} << 62U}, {folder_.path(), 1000}});
    ASSERT_FALSE(none.ok());
    EXPECT_THAT(none.error().message, HasSubstr(" free and the sweep needs about 4611686018427.4 MB; free some space"));
    measure::SessionSettings settings;
    settings.sample_rate_hz = 192000;
    settings.period_frames = 100'000;
    settings.periods = 10;
    EXPECT_EQ(*cli::bytes_of_session(settings, 3, false), 18'000'000U);  // 24 bits, two channels
    EXPECT_EQ(*cli::bytes_of_session(settings, 1, true), 10'500'000U);   // and 90 bytes a bin
    const Said said = coldtune({"measure", "--device", "simulated", "--hookup", "open", "--reference", "10k", "--book",
                                path(), "--period", "16777216", "--periods", "1000"});
    EXPECT_EQ(said.code, 2);
    EXPECT_THAT(said.err, HasSubstr("is longer than a capture may be"));
}

TEST_F(Rescue, AFolderThatTakesNoFileIsFoundBeforeTheSweep) {
    const testing::ScratchFolder folder;
    ASSERT_TRUE(cli::check_room({{folder.path(), 1}}).ok());
    fs::permissions(folder.path(), fs::perms{0555});
    // Root may write anywhere: nobody (65534 on every Linux) may not.
    const bool root = ::geteuid() == 0;
    ASSERT_EQ(root ? ::seteuid(65534) : 0, 0);
    const auto refused = cli::check_room({{folder.path(), 1}});
    ASSERT_EQ(root ? ::seteuid(0) : 0, 0);
    fs::permissions(folder.path(), fs::perms{0755});
    ASSERT_FALSE(refused.ok());
    EXPECT_THAT(refused.error().message,
                HasSubstr(folder.path().string() + ": no file can be written into this folder"));
}

TEST_F(Rescue, TheStandardsOfOneInputAreKeptToo) {
    const testing::ScratchFolder state;
    ::setenv("XDG_STATE_HOME", state.path().c_str(), 1);
    const std::vector<std::string> sweep = {
        "measure",     "--device", "simulated",    "--one-input", "--coil-input", "1",      "--hookup", "foot",
        "--reference", "10k",      "--load-value", "10k",         "--rate",       "192000", "--period", "48000",
        "--periods",   "3",        "--out",        at("coil.wav")};
    // What stands in the way of a standard is never written over unasked, and nothing is swept for it.
    fs::create_directory(folder_ / "coil.open.wav");
    const Said refused = coldtune(sweep);
    EXPECT_EQ(refused.code, 2);
    EXPECT_EQ(refused.error_lines(), 1) << refused.err;
    EXPECT_THAT(refused.err, HasSubstr("coil.open.wav exists already; name another file, or give --replace"));
    // A folder cannot be replaced: the sweep goes somewhere else, the others where they belong.
    const Said said = with(sweep, {"--replace"});
    ::unsetenv("XDG_STATE_HOME");
    EXPECT_EQ(said.code, 3) << said.err;
    EXPECT_THAT(said.err, HasSubstr("coil.open.wav: is a folder; name a file in it; the capture is kept as "));
    const auto open = audio::read_capture(state.path() / "coldtune/rescued/0001-open.wav");
    ASSERT_TRUE(open.ok()) << open.error().message;
    EXPECT_EQ(open->note->hookup, "open");
    EXPECT_TRUE(audio::read_capture(at("coil.load.wav")).ok());
    EXPECT_TRUE(audio::read_capture(at("coil.wav")).ok());
    EXPECT_THAT(said.out, HasSubstr("verdict"));
}

}  // namespace
}  // namespace coldtune
