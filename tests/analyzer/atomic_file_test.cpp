#include "analyzer/record/atomic_file.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <string>
#include <vector>

#include "tests/support/scratch_folder.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune::record {
namespace {

using testing::bytes_of;
using ::testing::HasSubstr;
using ::testing::Not;
using testing::ScratchFolder;
using testing::SmallDisk;

std::vector<std::string> names_in(const ScratchFolder& folder) {
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(folder.path())) {
        names.push_back(entry.path().filename().string());
    }
    return names;
}

int mode_of(const std::filesystem::path& path) {
    struct stat status {};
    EXPECT_EQ(::stat(path.c_str(), &status), 0);
    return static_cast<int>(status.st_mode & 07777);
}

std::string message(const Status& status) {
    EXPECT_FALSE(status.ok());
    if (status) return {};
    EXPECT_EQ(status.error().kind, ErrorKind::bad_input);
    EXPECT_THAT(status.error().message, Not(HasSubstr("\n")));
    return status.error().message;
}

TEST(AtomicFile, WritesTheWholeContentAndNothingElse) {
    const ScratchFolder folder;
    const std::string bytes = std::string("a\0b\n", 4) + std::string(3'000'000, 'x');
    ASSERT_TRUE(write_file_atomically(folder / "book.json", bytes).ok());
    EXPECT_EQ(bytes_of(folder / "book.json"), bytes);
    EXPECT_EQ(names_in(folder), std::vector<std::string>{"book.json"});
    ASSERT_TRUE(write_file_atomically(folder / "book.json", "").ok());
    EXPECT_EQ(bytes_of(folder / "book.json"), "");
}

TEST(AtomicFile, TheTargetChangesOnlyAtTheCommit) {
    const ScratchFolder folder;
    folder.put("book.json", "old");
    auto file = AtomicFile::create(folder / "book.json");
    ASSERT_TRUE(file.ok());
    ASSERT_TRUE(file->write("new").ok());
    EXPECT_EQ(bytes_of(folder / "book.json"), "old");
    EXPECT_EQ(names_in(folder).size(), 2U);
    ASSERT_TRUE(file->commit().ok());
    EXPECT_EQ(bytes_of(folder / "book.json"), "new");
    EXPECT_EQ(names_in(folder).size(), 1U);
}

TEST(AtomicFile, WithoutACommitNothingIsLeft) {
    const ScratchFolder folder;
    folder.put("book.json", "old");
    {
        auto file = AtomicFile::create(folder / "book.json");
        ASSERT_TRUE(file.ok());
        ASSERT_TRUE(file->write("half").ok());
        AtomicFile moved = std::move(*file);  // the moved-from one must not remove or close anything
        ASSERT_TRUE(moved.write(" more").ok());
    }
    EXPECT_EQ(bytes_of(folder / "book.json"), "old");
    EXPECT_EQ(names_in(folder).size(), 1U);
}

TEST(AtomicFile, AFullDiskLeavesTheOldContent) {
    const ScratchFolder folder;
    folder.put("book.json", "old");
    {
        const SmallDisk small(1000);
        EXPECT_THAT(message(write_file_atomically(folder / "book.json", std::string(5000, 'x'))),
                    HasSubstr("book.json: could not be written: File too large; free some space"));
    }
    EXPECT_EQ(bytes_of(folder / "book.json"), "old");
    EXPECT_EQ(names_in(folder).size(), 1U);
}

TEST(AtomicFile, SaysWhatIsWrongWithTheTarget) {
    const ScratchFolder folder;
    EXPECT_THAT(message(write_file_atomically(folder / "none/book.json", "x")), HasSubstr("make its folder first"));
    EXPECT_THAT(message(write_file_atomically(folder.path(), "x")), HasSubstr("is a folder"));
    EXPECT_THAT(message(write_file_atomically(folder / "", "x")), HasSubstr("names no file"));
    EXPECT_THAT(message(write_file_atomically("", "x")), HasSubstr("\"\" names no file"));
    EXPECT_THAT(message(write_file_atomically("/dev/null", "x")), HasSubstr("/dev/null: is not an ordinary file"));
    ASSERT_EQ(::mkfifo((folder / "pipe").c_str(), 0600), 0);
    EXPECT_THAT(message(write_file_atomically(folder / "pipe", "x")), HasSubstr("is not an ordinary file"));
    folder.put("plain", "x");
    EXPECT_THAT(message(write_file_atomically(folder / "plain/book.json", "x")), HasSubstr("make its folder first"));
    EXPECT_THAT(message(write_file_atomically(folder / std::string(300, 'n'), "x")), HasSubstr("could not be written"));
    std::filesystem::create_symlink("b", folder / "a");
    std::filesystem::create_symlink("a", folder / "b");
    EXPECT_THAT(message(write_file_atomically(folder / "a", "x")), HasSubstr("circle"));
}

TEST(AtomicFile, RefusesAFolderThatMayNotBeWrittenTo) {
    // Permissions do not bind root, so the attempt is made as nobody in a child; 65534 is nobody's usual number.
    const ScratchFolder folder;
    std::filesystem::permissions(folder.path(), std::filesystem::perms(0555));
    EXPECT_EXIT(
        {
            if (::geteuid() == 0 && ::setuid(65534) != 0) _exit(3);
            const Status status = write_file_atomically(folder / "book.json", "x");
            if (status) _exit(1);
            _exit(status.error().message.find("choose a folder you may write to") != std::string::npos ? 0 : 2);
        },
        ::testing::ExitedWithCode(0), "");
    std::filesystem::permissions(folder.path(), std::filesystem::perms(0755));
}

TEST(AtomicFile, KeepsPermissionsAndObeysTheMask) {
    const ScratchFolder folder;
    folder.put("kept", "x");
    ::chmod((folder / "kept").c_str(), 0640);
    ASSERT_TRUE(write_file_atomically(folder / "kept", "y").ok());
    EXPECT_EQ(mode_of(folder / "kept"), 0640);
    const mode_t before = ::umask(027);
    ASSERT_TRUE(write_file_atomically(folder / "fresh", "y").ok());
    ::umask(before);
    EXPECT_EQ(mode_of(folder / "fresh"), 0640);
}

TEST(AtomicFile, ClearsAwayWhatKilledWritersLeft) {
    const ScratchFolder folder;
    for (const char* name : {".book.json.0123abcd.part", ".other.json.0123abcd.part", ".book.json.0123abcX.part",
                             "book.json.0123abcd.part", ".book.json.part", "book.json"}) {
        folder.put(name, "x");
    }
    remove_abandoned_temporaries(folder.path(), "book.json");
    EXPECT_THAT(names_in(folder),
                ::testing::UnorderedElementsAre(".other.json.0123abcd.part", ".book.json.0123abcX.part",
                                                "book.json.0123abcd.part", ".book.json.part", "book.json"));
    remove_abandoned_temporaries(folder.path());
    EXPECT_EQ(names_in(folder).size(), 4U);
    // The name a writer gives is one that is cleared away.
    auto file = AtomicFile::create(folder / "new");
    ASSERT_TRUE(file.ok());
    EXPECT_EQ(names_in(folder).size(), 5U);
    remove_abandoned_temporaries(folder.path(), "new");
    EXPECT_EQ(names_in(folder).size(), 4U);
}

TEST(AtomicFile, ASecondNameOutlivesTheFirst) {
    const ScratchFolder folder;
    folder.put("book.json", "old");
    ASSERT_TRUE(keep_under_second_name(folder / "book.json", folder / "kept.json").ok());
    EXPECT_FALSE(keep_under_second_name(folder / "book.json", folder / "kept.json").ok());
    ASSERT_TRUE(write_file_atomically(folder / "book.json", "new").ok());
    EXPECT_EQ(bytes_of(folder / "kept.json"), "old");
    EXPECT_THAT(message(keep_under_second_name(folder / "none", folder / "other")), HasSubstr("could not be written"));
    // /dev/shm is another file system on every Linux, where a link is impossible and a copy must do.
    if (std::filesystem::is_directory("/dev/shm")) {
        const std::filesystem::path far = "/dev/shm/coldtune-second-name-" + std::to_string(::getpid());
        const Status kept = keep_under_second_name(folder / "book.json", far);
        EXPECT_TRUE(kept.ok());
        EXPECT_EQ(bytes_of(far), "new");
        std::filesystem::remove(far);
    }
}

TEST(AtomicFile, FollowsLinks) {
    const ScratchFolder folder;
    std::filesystem::create_directory(folder / "real");
    std::filesystem::create_symlink("real/book.json", folder / "link");
    ASSERT_TRUE(write_file_atomically(folder / "link", "x").ok());
    EXPECT_TRUE(std::filesystem::is_symlink(folder / "link"));
    EXPECT_EQ(bytes_of(folder / "real/book.json"), "x");
}

}  // namespace
}  // namespace coldtune::record
