// Two who want to write one book.
#include "analyzer/book/book_lock.hpp"

#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <csignal>

#include "tests/support/scratch_folder.hpp"

namespace coldtune::book {
namespace {

using ::testing::HasSubstr;
using testing::ScratchFolder;

Places places_in(const ScratchFolder& folder) {
    return *places_of(folder / "bench.json");
}

// Another process that holds the lock until it is killed.
class Holder {
public:
    explicit Holder(const Places& places) {
        std::array<int, 2> ready{};
        EXPECT_EQ(::pipe(ready.data()), 0);
        process_ = ::fork();
        if (process_ == 0) {
            const auto lock = BookLock::take(places);
            const char answer = lock ? 'y' : 'n';
            if (::write(ready[1], &answer, 1) != 1) _exit(1);
            for (;;) ::pause();
        }
        ::close(ready[1]);
        char answer = 'n';
        EXPECT_EQ(::read(ready[0], &answer, 1), 1);
        EXPECT_EQ(answer, 'y');
        ::close(ready[0]);
    }
    ~Holder() { kill(); }
    void kill() {
        if (process_ <= 0) return;
        ::kill(process_, SIGKILL);
        ::waitpid(process_, nullptr, 0);
        process_ = -1;
    }
    [[nodiscard]] pid_t process() const { return process_; }

private:
    pid_t process_ = -1;
};

TEST(BookLock, KeepsASecondProcessOutAndNamesTheFirst) {
    const ScratchFolder folder;
    Holder holder(places_in(folder));
    const auto refused = BookLock::take(places_in(folder));
    ASSERT_FALSE(refused.ok());
    EXPECT_THAT(refused.error().message,
                HasSubstr(fmt::format("bench.json: is open in process {} (", holder.process())));
    EXPECT_THAT(refused.error().message, HasSubstr("close it there"));
    // The refused one must not have taken the lock's file away.
    EXPECT_TRUE(std::filesystem::exists(folder / "bench.lock"));
}

TEST(BookLock, ADeadProcessKeepsNobodyOut) {
    const ScratchFolder folder;
    Holder holder(places_in(folder));
    holder.kill();
    EXPECT_TRUE(std::filesystem::exists(folder / "bench.lock"));
    EXPECT_TRUE(BookLock::take(places_in(folder)).ok());
    EXPECT_FALSE(std::filesystem::exists(folder / "bench.lock"));  // closed in order: nothing is left
}

TEST(BookLock, KeepsASecondWindowOfOneProcessOut) {
    const ScratchFolder folder;
    auto first = BookLock::take(places_in(folder));
    ASSERT_TRUE(first.ok());
    EXPECT_FALSE(BookLock::take(places_in(folder)).ok());
    BookLock moved = std::move(*first);
    EXPECT_FALSE(BookLock::take(places_in(folder)).ok());
    { const BookLock gone = std::move(moved); }
    EXPECT_TRUE(BookLock::take(places_in(folder)).ok());
}

TEST(BookLock, ALinkToTheBookLeadsToTheSameLock) {
    const ScratchFolder folder, elsewhere;
    folder.put("bench.json", "{}");
    std::filesystem::create_symlink(folder / "bench.json", elsewhere / "other.json");
    const auto first = BookLock::take(places_in(folder));
    const auto by_link = places_of(elsewhere / "other.json");
    ASSERT_TRUE(by_link.ok()) << by_link.error().message;
    EXPECT_FALSE(BookLock::take(*by_link).ok());
    std::filesystem::create_symlink("nowhere.json", elsewhere / "dangling.json");
    EXPECT_FALSE(places_of(elsewhere / "dangling.json").ok());
}

TEST(BookLock, SaysWhatKeepsItFromBeingTaken) {
    const ScratchFolder folder;
    const auto missing = BookLock::take(*places_of(folder / "none/bench.json"));
    ASSERT_FALSE(missing.ok());
    EXPECT_THAT(missing.error().message, HasSubstr("make its folder first"));
    // A link in the place of the lock could make us write anywhere.
    folder.put("precious", "x");
    std::filesystem::create_symlink("precious", folder / "bench.lock");
    EXPECT_FALSE(BookLock::take(places_in(folder)).ok());
    EXPECT_EQ(testing::bytes_of(folder / "precious"), "x");
    EXPECT_FALSE(places_of(folder / "bench.txt").ok());
    EXPECT_FALSE(places_of(folder / ".json").ok());
    EXPECT_FALSE(places_of("").ok());
}

}  // namespace
}  // namespace coldtune::book
