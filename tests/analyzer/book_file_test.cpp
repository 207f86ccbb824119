// Saving a book: what can go wrong around it, and that nothing of it is lost then.
#include "analyzer/book/book_file.hpp"

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <chrono>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/earlier_saves.hpp"
#include "tests/support/example_book.hpp"
#include "tests/support/scratch_folder.hpp"
#include "tests/support/small_disk.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using testing::bytes_of;
using ::testing::HasSubstr;
using testing::ScratchFolder;
using testing::SmallDisk;

BookFile saved_book(const fs::path& path, int runs = 2) {
    auto file = BookFile::open_or_create(path);
    EXPECT_TRUE(file.ok()) << (file ? "" : file.error().message);
    const std::string created = file->book().created_utc;
    file->book() = test::example_book(runs);
    file->book().save_number = 0;
    file->book().created_utc = created;
    const Status saved = file->save();
    EXPECT_TRUE(saved.ok()) << (saved ? "" : saved.error().message);
    return std::move(*file);
}

std::string refusal(BookFile& file) {
    const std::string before = book_text(file.book());
    const Status saved = file.save();
    if (saved) return "it was saved";
    EXPECT_TRUE(book_text(file.book()) == before) << "the book in memory has changed";
    EXPECT_EQ(saved.error().message.find('\n'), std::string::npos);
    return saved.error().message;
}

TEST(BookFile, IsThereAfterItsFirstSaveAndReadsBack) {
    const ScratchFolder folder;
    const fs::path path = folder / "bench.json";
    EXPECT_THAT(BookFile::open(path).error().message, HasSubstr("bench.json: there is no such book; make it with"));
    EXPECT_TRUE(fs::is_empty(folder.path()));  // not even a lock's file
    const BookFile file = saved_book(path);
    EXPECT_EQ(file.book().save_number, 1U);
    EXPECT_EQ(file.book().program_version, COLDTUNE_VERSION);
    const auto read = read_book(*places_of(path));
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_FALSE(read->recovery.has_value());
    EXPECT_EQ(book_text(read->book), book_text(file.book()));
}

TEST(BookFile, KeepsTheFiveSavesBefore) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    for (int i = 2; i <= 9; ++i) {
        file.book().runs[0].name = fmt::format("save {}", i);
        ASSERT_TRUE(file.save().ok());
    }
    const auto saves = earlier_saves(file.places());
    ASSERT_EQ(saves.size(), kept_saves);
    for (std::size_t i = 0; i < saves.size(); ++i) {
        EXPECT_EQ(saves[i].number, 8 - i);
        const auto whole = read_book(*places_of(saves[i].path));
        ASSERT_TRUE(whole.ok());
        EXPECT_EQ(whole->book.runs[0].name, fmt::format("save {}", saves[i].number));
    }
    EXPECT_EQ(file.book().save_number, 9U);
}

TEST(BookFile, StrangeFilesAmongTheSavesAreLeftAlone) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    ASSERT_TRUE(file.save().ok());
    for (const char* name : {"save-x.json", "save-3.json.bak", "notes.txt", "save-0.json", "save-3-zz.json"}) {
        folder.put(std::string("bench.saves/") + name, "mine");
    }
    fs::create_symlink("/etc/passwd", folder / "bench.saves/save-99.json");
    EXPECT_EQ(earlier_saves(file.places()).size(), 1U);
    for (int i = 0; i < 8; ++i) ASSERT_TRUE(file.save().ok());
    for (const char* name : {"save-x.json", "save-3.json.bak", "notes.txt", "save-0.json", "save-3-zz.json"}) {
        EXPECT_EQ(bytes_of(folder / (std::string("bench.saves/") + name)), "mine");
    }
    // A save of a number that is taken by something else does not overwrite it.
    const std::uint64_t present = file.book().save_number;
    folder.put(fmt::format("bench.saves/save-{}.json", present), "other");
    ASSERT_TRUE(file.save().ok());
    EXPECT_EQ(bytes_of(folder / fmt::format("bench.saves/save-{}.json", present)), "other");
    EXPECT_EQ(earlier_saves(file.places()).front().number, present);
}

TEST(BookFile, AChangeByAnotherProgramIsNotOverwritten) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    std::string edited = bytes_of(folder / "bench.json");
    edited.replace(edited.find("foot 1"), 6, "foot X");  // the same length
    const auto time = fs::last_write_time(folder / "bench.json");
    folder.put("bench.json", edited);
    fs::last_write_time(folder / "bench.json", time);  // and the same time: only the content tells
    EXPECT_THAT(refusal(file), HasSubstr("another program has changed it meanwhile; nothing was overwritten"));
    EXPECT_EQ(bytes_of(folder / "bench.json"), edited);
    fs::remove(folder / "bench.json");
    EXPECT_THAT(refusal(file), HasSubstr("another program has removed it"));
    EXPECT_FALSE(fs::exists(folder / "bench.json"));
    // Under another name it can be saved all the same.
    ASSERT_TRUE(file.save_as(folder / "mine.json").ok());
    EXPECT_EQ(read_book(*places_of(folder / "mine.json"))->book.runs[0].name, "foot 1");
    EXPECT_EQ(file.places().book, folder / "mine.json");
    ASSERT_TRUE(file.save().ok());
}

TEST(BookFile, ATouchWithoutAChangeIsNone) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    fs::last_write_time(folder / "bench.json", fs::file_time_type::clock::now() + std::chrono::hours(1));
    EXPECT_TRUE(file.save().ok());
}

TEST(BookFile, OneThatAppearsMeanwhileIsNotOverwritten) {
    const ScratchFolder folder;
    auto file = BookFile::open_or_create(folder / "bench.json");
    ASSERT_TRUE(file.ok());
    folder.put("bench.json", "somebody else's");
    EXPECT_THAT(refusal(*file), HasSubstr("another program has made it meanwhile"));
    EXPECT_EQ(bytes_of(folder / "bench.json"), "somebody else's");
}

TEST(BookFile, AFullDiskLeavesFileAndMemory) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    const std::string before = bytes_of(folder / "bench.json");
    file.book().runs[0].name = "changed";
    {
        const SmallDisk small(5000);
        EXPECT_THAT(refusal(file), HasSubstr("bench.json: could not be written: File too large; free some space"));
    }
    EXPECT_EQ(bytes_of(folder / "bench.json"), before);
    EXPECT_EQ(earlier_saves(file.places()).size(), 0U);
    ASSERT_TRUE(file.save().ok());  // once there is room
    EXPECT_EQ(read_book(file.places())->book.runs[0].name, "changed");
    std::size_t entries = 0;
    for (const auto& entry : fs::directory_iterator(folder.path())) entries += entry.exists() ? 1U : 0U;
    EXPECT_EQ(entries, 3U);  // book, saves, lock
}

TEST(BookFile, AVanishedFolderLosesNothing) {
    const ScratchFolder folder;
    fs::create_directory(folder / "disk");
    BookFile file = saved_book(folder / "disk/bench.json");
    file.book().runs[0].name = "changed";
    fs::rename(folder / "disk", folder / "taken out");
    EXPECT_THAT(refusal(file), HasSubstr("its folder is no longer there; bring it back"));
    fs::rename(folder / "taken out", folder / "disk");
    ASSERT_TRUE(file.save().ok());
    EXPECT_EQ(read_book(file.places())->book.runs[0].name, "changed");
}

TEST(BookFile, InAReadOnlyFolderItIsReadAndNotOpenedForWriting) {
    // Permissions do not bind root, so the attempt is made as nobody in a child; 65534 is nobody's usual number.
    const ScratchFolder folder;
    { const BookFile file = saved_book(folder / "bench.json"); }
    fs::permissions(folder.path(), fs::perms(0555));
    EXPECT_EXIT(
        {
            if (::geteuid() == 0 && ::setuid(65534) != 0) _exit(3);
            const auto read = read_book(*places_of(folder / "bench.json"));
            if (!read || read->book.runs.size() != 2) _exit(4);
            const auto file = BookFile::open(folder / "bench.json");
            if (file) _exit(5);
            const std::string& message = file.error().message;
            _exit(message.find("cannot be opened for writing: Permission denied; copy the book to a folder you may "
                               "write to") != std::string::npos
                      ? 0
                      : 6);
        },
        ::testing::ExitedWithCode(0), "");
    fs::permissions(folder.path(), fs::perms(0755));
}

TEST(BookFile, WhatWouldNotReadBackIsNotSaved) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    const std::string before = bytes_of(folder / "bench.json");
    file.book().runs[0].capture = "../elsewhere.wav";
    EXPECT_THAT(refusal(file), HasSubstr("runs[0].capture"));
    file.book().runs[0].capture = file.book().captures[0].kept.file;
    file.book().runs[0].notes.push_back({"2026-11-27T10:30:00Z", std::string(longest_book_bytes, 'x')});
    EXPECT_THAT(refusal(file), HasSubstr("the book is full"));
    EXPECT_EQ(bytes_of(folder / "bench.json"), before);
}

TEST(BookFile, ACopyTakesItsFilesAlongAndOverwritesNothing) {
    const ScratchFolder folder;
    BookFile file = saved_book(folder / "bench.json");
    fs::create_directory(file.places().captures);
    folder.put("bench.captures/0001-foot.flac", "one");
    folder.put("bench.captures/run-0001.json", "result");
    folder.put("bench.captures/stray.wav", "not of the book");
    fs::create_symlink("/etc/passwd", folder / "bench.captures/0002-foot.flac");
    const auto faults = file.save_as(folder / "copy.json");
    ASSERT_TRUE(faults.ok()) << faults.error().message;
    // All of them: the example's files were never there as its checksums say.
    ASSERT_EQ(faults->size(), 4U);
    EXPECT_THAT((*faults)[0], HasSubstr("0001-foot.flac: holds 3 bytes, not the "));
    EXPECT_THAT((*faults)[1], HasSubstr("0002-foot.flac: is no ordinary file"));
    EXPECT_THAT((*faults)[3], HasSubstr("run-0002.json: is missing"));
    EXPECT_EQ(bytes_of(folder / "copy.captures/0001-foot.flac"), "one");
    EXPECT_EQ(bytes_of(folder / "copy.captures/run-0001.json"), "result");
    EXPECT_FALSE(fs::exists(folder / "copy.captures/stray.wav"));
    EXPECT_FALSE(fs::exists(fs::symlink_status(folder / "copy.captures/0002-foot.flac")));
    EXPECT_EQ(read_book(file.places())->book.runs.size(), 2U);
    const auto onto_itself = file.save_as(folder / "bench.json");
    ASSERT_FALSE(onto_itself.ok());
    EXPECT_THAT(onto_itself.error().message, HasSubstr("is there already"));
    // A copy that fails leaves nothing behind.
    {
        const SmallDisk small(5000);
        EXPECT_FALSE(file.save_as(folder / "third.json").ok());
    }
    EXPECT_FALSE(fs::exists(folder / "third.json"));
    EXPECT_FALSE(fs::exists(folder / "third.captures"));
    EXPECT_EQ(file.places().book, folder / "copy.json");
}

TEST(BookFile, FoldersThatAreLinksAreRefused) {
    const ScratchFolder folder, elsewhere;
    elsewhere.put("save-1.json", "precious");
    BookFile file = saved_book(folder / "bench.json");
    fs::create_directory_symlink(elsewhere.path(), folder / "bench.saves");
    EXPECT_THAT(refusal(file), HasSubstr("bench.saves: is a link"));
    EXPECT_EQ(bytes_of(elsewhere / "save-1.json"), "precious");
    EXPECT_TRUE(earlier_saves(file.places()).empty());
}

TEST(BookFile, WaitsForNoPipe) {
    const ScratchFolder folder;
    ASSERT_EQ(::mkfifo((folder / "bench.json").c_str(), 0600), 0);
    const auto read = read_book(*places_of(folder / "bench.json"));
    ASSERT_FALSE(read.ok());
    EXPECT_THAT(read.error().message, HasSubstr("is no ordinary file"));
}

}  // namespace
}  // namespace coldtune::book
