// A damaged book: an earlier save takes its place, and nothing of the damaged one is thrown away.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analyzer/book/book_file.hpp"
#include "analyzer/book/book_json.hpp"
#include "analyzer/book/earlier_saves.hpp"
#include "tests/support/example_book.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using testing::bytes_of;
using ::testing::HasSubstr;
using testing::ScratchFolder;

// Three saves, of one, two and three runs; the kept file of every run is there.
class Recovery : public ::testing::Test {
protected:
    void SetUp() override {
        fs::create_directory(folder_ / "bench.captures");
        auto file = BookFile::open_or_create(path_);
        ASSERT_TRUE(file.ok());
        for (int runs = 1; runs <= 3; ++runs) {
            const std::uint64_t number = file->book().save_number;
            file->book() = test::example_book(runs);
            file->book().save_number = number;
            folder_.put("bench.captures/" + file->book().captures.back().kept.file, "capture");
            ASSERT_TRUE(file->save().ok());
        }
    }
    [[nodiscard]] Places places() const { return *places_of(path_); }

    ScratchFolder folder_;
    fs::path path_ = folder_ / "bench.json";
};

TEST_F(Recovery, OpensTheSaveBeforeAndSaysWhatIsNotInIt) {
    const std::string damaged = bytes_of(path_).substr(0, 1000);
    folder_.put("bench.json", damaged);
    const auto read = read_book(places());
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_EQ(read->book.save_number, 2U);
    EXPECT_EQ(read->book.runs.size(), 2U);
    ASSERT_TRUE(read->recovery.has_value());
    EXPECT_EQ(read->recovery->files_after_it, std::vector<std::string>{"0003-foot.flac"});
    const std::string said = recovery_sentence(*read, places());
    for (const char* part :
         {"bench.json: line ", "not JSON", "opened save 2 of ", "(save-2.json, runs to number 2); lost: save 3 of 20",
          "Z (runs to number 3); ", "not in it, but still in bench.captures: 0003-foot.flac; add them again"}) {
        EXPECT_THAT(said, HasSubstr(part));
    }
    EXPECT_EQ(bytes_of(path_), damaged);  // looking changes nothing

    auto file = BookFile::open(path_);
    ASSERT_TRUE(file.ok());
    ASSERT_TRUE(file->recovery().has_value());
    EXPECT_EQ(bytes_of(path_), damaged);  // nor does opening
    ASSERT_TRUE(file->save().ok());
    EXPECT_FALSE(file->recovery().has_value());
    EXPECT_EQ(bytes_of(folder_ / "bench.damaged-1.json"), damaged);  // set aside, not deleted
    EXPECT_EQ(read_book(places())->book.save_number, 3U);
    EXPECT_FALSE(read_book(places())->recovery.has_value());
}

TEST_F(Recovery, PassesOverSavesThatAreDamagedToo) {
    folder_.put("bench.json", "");
    folder_.put("bench.saves/save-2.json", "{");
    const auto read = read_book(places());
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_EQ(read->book.save_number, 1U);
    EXPECT_EQ(read->recovery->files_after_it.size(), 2U);
    // Nothing is left of the book that could tell its number.
    EXPECT_EQ(read->recovery->lost, "what was saved after save 2, save 2 (save-2.json is damaged too)");
    folder_.put("bench.saves/save-1.json", "{");
    const auto none = read_book(places());
    ASSERT_FALSE(none.ok());
    EXPECT_THAT(none.error().message, HasSubstr("bench.json: empty"));
    EXPECT_THAT(none.error().message, HasSubstr("no earlier save is there to take its place"));
}

TEST_F(Recovery, AMissingBookComesBackFromItsSaves) {
    fs::remove(path_);
    const auto read = read_book(places());
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_EQ(read->book.save_number, 2U);
    EXPECT_THAT(read->recovery->cause, HasSubstr("there is no such file"));
    auto file = BookFile::open_or_create(path_);  // and is not begun anew
    ASSERT_TRUE(file.ok());
    EXPECT_EQ(file->book().runs.size(), 2U);
    ASSERT_TRUE(file->save().ok());
    EXPECT_EQ(read_book(places())->book.save_number, 3U);
    EXPECT_FALSE(fs::exists(folder_ / "bench.damaged-1.json"));
}

TEST_F(Recovery, TheVerySameSaveIsNoLoss) {
    // As a kill leaves it between setting the present book aside and putting the next in its place; then it is damaged.
    fs::copy_file(path_, folder_ / "bench.saves/save-3.json");
    folder_.put("bench.json", bytes_of(path_).substr(0, 1000));
    const auto read = read_book(places());
    ASSERT_TRUE(read.ok());
    EXPECT_EQ(read->book.save_number, 3U);
    EXPECT_EQ(read->recovery->lost, "");
    EXPECT_THAT(recovery_sentence(*read, places()), HasSubstr("that is the same save, nothing was lost"));
}

TEST_F(Recovery, EveryDamagedFileIsKept) {
    for (int i = 1; i <= 3; ++i) {
        const std::string damaged = "damage " + std::to_string(i);
        folder_.put("bench.json", damaged);
        auto file = BookFile::open(path_);
        ASSERT_TRUE(file.ok()) << file.error().message;
        ASSERT_TRUE(file->save().ok());
        EXPECT_EQ(bytes_of(folder_ / ("bench.damaged-" + std::to_string(i) + ".json")), damaged);
    }
}

TEST_F(Recovery, ALaterVersionOrAnotherFileIsNeverRecoveredFrom) {
    for (const char* content : {R"({"schema": "coldtune.book.v2"})", R"({"secondary": {}})"}) {
        folder_.put("bench.json", content);
        EXPECT_FALSE(read_book(places()).ok());
        EXPECT_FALSE(BookFile::open(path_).ok());
        EXPECT_FALSE(BookFile::open_or_create(path_).ok());
        EXPECT_EQ(bytes_of(path_), content);
    }
}

TEST_F(Recovery, DamageThatIsStillJsonIsNamedAndRecoveredFrom) {
    std::string text = bytes_of(path_);
    const std::size_t at = text.rfind("\"reference_ohm\":10000.0");
    ASSERT_NE(at, std::string::npos);
    text.replace(at + 16, 7, "-9999.0");
    folder_.put("bench.json", text);
    const auto read = read_book(places());
    ASSERT_TRUE(read.ok());
    EXPECT_THAT(read->recovery->cause, HasSubstr("bench.json: runs[2].settings.reference_ohm: a number from 1"));
}

TEST_F(Recovery, ADamagedFileChangedMeanwhileIsNotOverwritten) {
    folder_.put("bench.json", "damaged");
    auto file = BookFile::open(path_);
    ASSERT_TRUE(file.ok());
    folder_.put("bench.json", "repaired by somebody");
    EXPECT_FALSE(file->save().ok());
    EXPECT_EQ(bytes_of(path_), "repaired by somebody");
}

}  // namespace
}  // namespace coldtune::book
