// The program as the system starts it, where that differs from its command line called in a test.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using ::testing::HasSubstr;

// The shell counts in blocks of 1024 bytes; four seconds at 192 kHz are two megabytes. The signal's default is to end
// the program (POSIX, setrlimit).
TEST(Program, AFileThatMayNotGrowIsAnErrorAndLeavesNothing) {
    const testing::ScratchFolder folder;
    testing::Process program({"bash", "-c",
                              "ulimit -f 200; exec '" COLDTUNE_BIN_DIR "/coldtune' stimulus --rate 192k --out '" +
                                  (folder / "sweep.wav").string() + "'"});
    const auto code = program.wait(std::chrono::seconds(20));
    ASSERT_TRUE(code);
    EXPECT_EQ(*code, 3) << program.errors();
    EXPECT_THAT(program.errors(), HasSubstr("sweep.wav: could not be written"));
    EXPECT_TRUE(std::filesystem::is_empty(folder.path()));
}

// `| head`, a terminal that was closed: a word nobody reads ends a program (POSIX, write). The sweep is in the book by
// then.
TEST(Program, ASweepIsKeptThoughNobodyReadsWhatItSays) {
    const testing::ScratchFolder folder;
    testing::Process program(
        {"bash", "-c",
         "'" COLDTUNE_BIN_DIR
         "/coldtune' measure --device simulated --hookup foot --reference 10k --periods 2 --book '" +
             (folder / "bench.json").string() + "' 2>&1 | true"});
    ASSERT_TRUE(program.wait(std::chrono::seconds(60)));
    testing::Process list({COLDTUNE_BIN_DIR "/coldtune", "book", "list", (folder / "bench.json").string()});
    ASSERT_TRUE(list.wait(std::chrono::seconds(20)));
    EXPECT_THAT(list.output(), HasSubstr("foot")) << list.errors();
}

}  // namespace
}  // namespace coldtune
