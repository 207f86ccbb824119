#include "analyzer/record/sha256.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>

#include "analyzer/record/utc_time.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::record {
namespace {

using ::testing::HasSubstr;
using testing::ScratchFolder;

TEST(Sha256, GivesThePublishedExamples) {
    // The examples published with FIPS 180-4 (one block, two blocks), from memory.
    EXPECT_EQ(sha256("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    EXPECT_EQ(sha256("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
              "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
    EXPECT_TRUE(is_sha256(sha256("")));
    EXPECT_FALSE(is_sha256("ba78"));
    EXPECT_FALSE(is_sha256(std::string(64, 'A')));
}

TEST(Sha256, OfAFileIsWhatAnotherToolSays) {
    const ScratchFolder folder;
    std::string bytes;
    for (int i = 0; i < 700000; ++i) bytes += static_cast<char>(i * 7 % 251);
    const auto path = folder.put("capture.wav", bytes);
    const auto sum = sha256_of_file(path);
    ASSERT_TRUE(sum.ok()) << sum.error().message;
    EXPECT_EQ(sum->bytes, bytes.size());
    EXPECT_EQ(sum->sha256, sha256(bytes));
    // sha256sum of GNU coreutils
    const testing::Outcome other = testing::run({"sha256sum", "--", path.string()}, std::chrono::milliseconds(60000));
    ASSERT_EQ(other.code, 0) << other.errors;
    EXPECT_EQ(sum->sha256, other.output.substr(0, 64));
}

TEST(Sha256, WaitsForNothingAndFollowsNoLink) {
    const ScratchFolder folder;
    const auto message = [](const std::filesystem::path& path) {
        const auto sum = sha256_of_file(path);
        return sum ? std::string("a sum") : sum.error().message;
    };
    EXPECT_THAT(message(folder / "none"), HasSubstr("no such file"));
    folder.put("plain", "x");
    std::filesystem::create_symlink("plain", folder / "link");
    EXPECT_THAT(message(folder / "link"), HasSubstr("is a link"));
    ASSERT_EQ(::mkfifo((folder / "pipe").c_str(), 0600), 0);
    EXPECT_THAT(message(folder / "pipe"), HasSubstr("not an ordinary file"));
    EXPECT_THAT(message(folder.path()), HasSubstr("not an ordinary file"));
}

TEST(UtcTime, IsWrittenAndKnown) {
    EXPECT_TRUE(is_utc_time(utc_now())) << utc_now();
    EXPECT_TRUE(is_utc_time("2024-02-29T23:59:60Z"));
    for (const char* wrong : {"", "2023-02-29T00:00:00Z", "2026-11-27 10:30:00Z", "2026-11-27T24:00:00Z",
                              "2026-13-01T00:00:00Z", "2026-11-27T10:30:00+01:00", "2026-11-27T10:3a:00Z"}) {
        EXPECT_FALSE(is_utc_time(wrong)) << wrong;
    }
}

}  // namespace
}  // namespace coldtune::record
