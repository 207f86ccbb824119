// A writer killed at any moment, and readers while somebody writes.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <csignal>
#include <cstdlib>
#include <iostream>
#include <optional>
#include <random>
#include <thread>
#include <vector>

#include "analyzer/book/book_file.hpp"
#include "analyzer/book/earlier_saves.hpp"
#include "tests/support/example_book.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::book {
namespace {

using testing::ScratchFolder;

// A folder in memory where there is one: what a kill does is the same there, and nothing waits for the disk.
class MemoryFolder {
public:
    MemoryFolder() {
        const char* before = std::getenv("TMPDIR");
        const std::string kept = before != nullptr ? before : "";
        if (std::filesystem::is_directory("/dev/shm")) ::setenv("TMPDIR", "/dev/shm", 1);
        folder_.emplace();
        if (before != nullptr) {
            ::setenv("TMPDIR", kept.c_str(), 1);
        } else {
            ::unsetenv("TMPDIR");
        }
    }
    [[nodiscard]] const ScratchFolder& operator*() const { return *folder_; }

private:
    std::optional<ScratchFolder> folder_;
};

// Saves again and again until it is killed, and tells the number of every completed save. Run 1 is named after the save
// so that number and content can be held against each other.
[[noreturn]] void save_forever(const std::filesystem::path& path, int told) {
    auto file = BookFile::open(path);
    if (!file) _exit(1);
    for (;;) {
        file->book().runs[0].name = fmt::format("save {}", file->book().save_number + 1);
        if (!file->save()) _exit(2);
        const std::uint64_t number = file->book().save_number;
        if (::write(told, &number, sizeof number) != static_cast<ssize_t>(sizeof number)) _exit(3);
    }
}

// How long a writer takes from its start until it has told of so many saves.
int microseconds_for_saves(const std::filesystem::path& book, int saves) {
    std::array<int, 2> told{};
    if (::pipe(told.data()) != 0) return 0;
    const auto begin = std::chrono::steady_clock::now();
    const pid_t writer = ::fork();
    if (writer == 0) save_forever(book, told[1]);
    ::close(told[1]);
    std::uint64_t number = 0;
    while (saves > 0 && ::read(told[0], &number, sizeof number) == sizeof number) --saves;
    const auto end = std::chrono::steady_clock::now();
    ::close(told[0]);
    ::kill(writer, SIGKILL);
    ::waitpid(writer, nullptr, 0);
    return static_cast<int>(std::chrono::duration_cast<std::chrono::microseconds>(end - begin).count());
}

std::size_t temporaries_in(const std::filesystem::path& folder) {
    std::size_t count = 0;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        count += entry.path().extension() == ".part" ? 1U : 0U;
    }
    return count;
}

TEST(BookKills, FiveHundredKillsLoseNoCompletedSave) {
    const MemoryFolder memory;
    const ScratchFolder& folder = *memory;
    const auto places = *places_of(folder / "bench.json");
    {
        auto file = BookFile::open_or_create(places.book);
        ASSERT_TRUE(file.ok()) << file.error().message;
        file->book() = test::example_book(1);
        file->book().runs[0].response.reset();  // a small book: most of a save is then spent on the file system
        file->book().runs[0].name = "save 2";
        ASSERT_TRUE(file->save().ok());
    }
    // From before the book is opened to several saves later, on the machine as busy as it is.
    const int longest_us = std::clamp(microseconds_for_saves(places.book, 4), 8000, 400000);
    constexpr unsigned seed = 20261127;
    std::mt19937 random(seed);
    std::uint64_t completed = read_book(places)->book.save_number;
    int in_the_middle = 0, not_yet_told = 0;
    std::vector<std::uint64_t> opened_saves;
    std::size_t left_before = 0;
    for (int kill = 0; kill < 500; ++kill) {
        std::array<int, 2> told{};
        ASSERT_EQ(::pipe(told.data()), 0);
        const pid_t writer = ::fork();
        ASSERT_GE(writer, 0);
        if (writer == 0) save_forever(places.book, told[1]);
        ::close(told[1]);
        std::this_thread::sleep_for(std::chrono::microseconds(std::uniform_int_distribution(0, longest_us)(random)));
        ::kill(writer, SIGKILL);
        int status = 0;
        ::waitpid(writer, &status, 0);
        ASSERT_TRUE(WIFSIGNALED(status)) << "the writer ended by itself: " << status;
        for (std::uint64_t number = 0; ::read(told[0], &number, sizeof number) == sizeof number;) completed = number;
        ::close(told[0]);
        in_the_middle += temporaries_in(folder.path()) > 0 ? 1 : 0;

        const auto opened = read_book(places);
        ASSERT_TRUE(opened.ok()) << opened.error().message;
        EXPECT_FALSE(opened->recovery.has_value()) << opened->recovery->cause;
        // Which save was opened: the last one told, or one that was completed before it could be told.
        opened_saves.push_back(opened->book.save_number);
        const std::uint64_t number = opened->book.save_number;
        ASSERT_TRUE(number == completed || number == completed + 1) << number << " after " << completed;
        EXPECT_EQ(opened->book.runs[0].name, fmt::format("save {}", number));
        not_yet_told += number == completed + 1 ? 1 : 0;
        completed = number;
        // A kill may come before the oldest is removed, which leaves one more; the next save clears them all away.
        const std::size_t earlier = earlier_saves(places).size();
        ASSERT_LE(earlier, std::max(left_before, kept_saves + 1) + 1);
        left_before = earlier;
    }
    // The moments were such that kills hit the saves themselves, and the saves went on.
    EXPECT_GT(in_the_middle, 0);
    EXPECT_GT(completed, 50U);  // most kills come after a save or more; a busy machine gets through fewer
    // After every kill one was opened, none older than the one before it.
    ASSERT_EQ(opened_saves.size(), 500U);
    EXPECT_TRUE(std::is_sorted(opened_saves.begin(), opened_saves.end()));
    std::cout << fmt::format(
        "500 kills: opened saves {} to {}; {} times the last one told, {} times one completed but "
        "not yet told, never an earlier one; {} kills hit the middle of a write\n",
        opened_saves.front(), opened_saves.back(), 500 - not_yet_told, not_yet_told, in_the_middle);
    RecordProperty("kills in the middle of a write", in_the_middle);
    RecordProperty("kills between a save and its word", not_yet_told);
    // Who opens it next clears away what the killed left.
    ASSERT_TRUE(BookFile::open(places.book).ok());
    EXPECT_EQ(temporaries_in(folder.path()), 0U);
    for (const EarlierSave& save : earlier_saves(places)) {
        const auto whole = read_book(*places_of(save.path));
        ASSERT_TRUE(whole.ok()) << whole.error().message;
        EXPECT_EQ(whole->book.runs[0].name, fmt::format("save {}", save.number));
    }
}

TEST(BookKills, ReadersSeeOneWholeSaveAfterTheOther) {
    const MemoryFolder memory;
    const auto places = *places_of(*memory / "bench.json");
    auto file = BookFile::open_or_create(places.book);
    ASSERT_TRUE(file.ok());
    file->book() = test::example_book(5);
    file->book().runs[0].name = "save 2";
    ASSERT_TRUE(file->save().ok());
    std::atomic<bool> done = false;
    std::thread writer([&] {
        for (int i = 0; i < 100; ++i) {
            file->book().runs[0].name = fmt::format("save {}", file->book().save_number + 1);
            if (!file->save()) break;
        }
        done = true;
    });
    std::uint64_t last = 0;
    while (!done) {
        const auto seen = read_book(places);
        if (!seen || seen->recovery || seen->book.save_number < last ||
            seen->book.runs[0].name != fmt::format("save {}", seen->book.save_number)) {
            ADD_FAILURE() << (seen ? seen->book.runs[0].name : seen.error().message);
            break;
        }
        last = seen->book.save_number;
    }
    writer.join();
    EXPECT_EQ(file->book().save_number, 102U);
    EXPECT_GT(last, 2U);  // some of it was seen
}

}  // namespace
}  // namespace coldtune::book
