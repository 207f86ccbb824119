#include "analyzer/book/check.hpp"

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "analyzer/book/seal.hpp"
#include "tests/support/book_rig.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

class BookCheck : public test::BookRig {
protected:
    std::string findings(const CheckReport& report) {
        std::string text;
        for (const CheckFinding& f : report.findings)
            text += (f.wrong ? "! " : "? ") + f.where + ": " + f.sentence + "\n";
        return text;
    }
};

TEST_F(BookCheck, ASoundBookIsSound) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    std::vector<int> heard;
    const CheckReport report = check_book(file.book(), file.places(), true, [&](int run) { heard.push_back(run); });
    EXPECT_TRUE(report.sound()) << findings(report);
    EXPECT_EQ(report.files, 3U);
    EXPECT_EQ(report.runs_again, 1U);
    EXPECT_EQ(report.runs_same, 1U);
    EXPECT_EQ(heard, std::vector<int>{1});
}

TEST_F(BookCheck, MissingChangedAndStrangeFilesAreNamed) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    folder_.put("bench.captures/run-0001.json", "changed");
    folder_.put("bench.captures/stray.wav", "x");
    fs::remove(folder_ / "bench.captures/0002-open.flac");
    const CheckReport report = check_book(file.book(), file.places(), true, {});
    EXPECT_FALSE(report.sound());
    const std::string said = findings(report);
    EXPECT_THAT(said, HasSubstr("! 0002-open.flac, of run 1: "));
    EXPECT_THAT(said, HasSubstr("is missing; put it back"));
    EXPECT_THAT(said, HasSubstr("! result of run 1: "));
    EXPECT_THAT(said, HasSubstr("? stray.wav: lies among the captures"));
    EXPECT_THAT(said, HasSubstr("! run 1: cannot be analysed again: "));
    EXPECT_EQ(report.runs_again, 0U);
}

TEST_F(BookCheck, AResultThatIsNotWhatTheCapturesGiveIsFound) {
    BookFile file = book();
    ASSERT_TRUE(add_run(file, foot_run()).ok());
    // By somebody who made the seal anew: only the captures tell.
    coldtune::book::Run& run = file.book().runs[0];
    record::Json better = *run.result;
    better["resonance"]["q"] = 400.0;
    run.result = std::make_shared<const record::Json>(better);
    run.seal = seal_of(run);
    EXPECT_TRUE(check_book(file.book(), file.places(), false, {}).sound());
    const CheckReport report = check_book(file.book(), file.places(), true, {});
    EXPECT_FALSE(report.sound());
    EXPECT_THAT(findings(report),
                HasSubstr("! run 1: analysed again it gives another result: resonance.q: 400.0 then"));
}

}  // namespace
}  // namespace coldtune::book
