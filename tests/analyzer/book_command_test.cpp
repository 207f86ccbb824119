// coldtune book, and what --book does: output, exit codes, and that a person's original command gives the stored
// result.
#include <gmock/gmock.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "tests/support/book_rig.hpp"
#include "tests/support/command_line.hpp"

namespace coldtune {
namespace {

namespace fs = std::filesystem;
using PlainJson = nlohmann::json;
using testing::bytes_of;
using testing::coldtune;
using ::testing::HasSubstr;
using testing::Said;
using ::testing::StartsWith;

class BookCommand : public test::BookRig {
protected:
    [[nodiscard]] std::string path() const { return at("bench.json"); }
    [[nodiscard]] std::vector<std::string> analysis(const std::string& capture) const {
        return {capture, "--hookup", "foot", "--reference", "10k", "--open", at("open.wav"), "--coil", at("coil.json")};
    }
    Said with(std::vector<std::string> command, const std::vector<std::string>& rest) const {
        command.insert(command.end(), rest.begin(), rest.end());
        return coldtune(command);
    }
    void add_one() const {
        const Said said = with({"book", "add", path()}, analysis(at("foot.wav")));
        ASSERT_EQ(said.code, 0) << said.err;
    }
};

TEST_F(BookCommand, AddKeepsWhatAnalyzeSays) {
    const Said added =
        with({"book", "add", path(), "--json", "--name", "bare", "--note", "head free"}, analysis(at("foot.wav")));
    ASSERT_EQ(added.code, 0) << added.err;
    const PlainJson j = PlainJson::parse(added.out);
    EXPECT_EQ(j.at("schema"), "coldtune.book-added.v1");
    EXPECT_EQ(j.at("run"), 1);
    EXPECT_EQ(j.at("save_number"), 1);
    EXPECT_TRUE(j.at("recovered").is_null());
    // The command a person would type gives the stored text byte for byte, from the original captures as from the kept.
    const std::string stored = bytes_of(folder_ / "bench.captures/run-0001.json");
    Said plain = with({"analyze"}, analysis(at("foot.wav")));
    EXPECT_EQ(with({"analyze", "--json", "--curve"}, analysis(at("foot.wav"))).out, stored);
    EXPECT_EQ(coldtune({"analyze", at("bench.captures/0001-foot.flac"), "--hookup", "foot", "--reference", "10k",
                        "--open", at("bench.captures/0002-open.flac"), "--coil", at("coil.json"), "--json", "--curve"})
                  .out,
              stored);
    EXPECT_EQ(j.at("result"), PlainJson::parse(with({"analyze", "--json"}, analysis(at("foot.wav"))).out));
    const Said text = with({"book", "add", path()}, analysis(at("foot.wav")));
    EXPECT_EQ(text.out, plain.out);
    EXPECT_THAT(text.err, HasSubstr("kept as run 2 in "));
}

TEST_F(BookCommand, ListAndShowTellWhatIsThere) {
    add_one();
    ASSERT_EQ(coldtune({"book", "note", path(), "1", "wall moved"}).code, 0);
    const Said list = coldtune({"book", "list", path()});
    EXPECT_EQ(list.code, 0);
    EXPECT_EQ(list.err, "");
    for (const char* part :
         {"save 2 of 20", "1 run, 1 coil version, 1 interface, 2 captures", "caution", "foot", "(wall moved)", "kHz"}) {
        EXPECT_THAT(list.out, HasSubstr(part));
    }
    const PlainJson l = PlainJson::parse(coldtune({"book", "list", path(), "--json"}).out);
    EXPECT_EQ(l.at("schema"), "coldtune.book-list.v1");
    EXPECT_EQ(l.at("runs").size(), 1U);
    EXPECT_EQ(l.at("runs")[0].at("verdict"), "caution");                       // its description is of another coil
    EXPECT_NEAR(l.at("runs")[0].at("frequency_hz").get<double>(), 62e3, 6.2);  // the bench's own coil
    const Said show = coldtune({"book", "show", path(), "foot"});
    EXPECT_EQ(show.code, 0) << show.err;
    for (const char* part : {"run 1   foot", "measured", "in-band, 95 %", "10.00 kohm +-1.0 %", "0001-foot.flac",
                             "0002-open.flac", "wall moved", "made up"}) {
        EXPECT_THAT(show.out, HasSubstr(part));
    }
    const PlainJson s = PlainJson::parse(coldtune({"book", "show", path(), "1", "--json", "--curve"}).out);
    EXPECT_EQ(s.at("schema"), "coldtune.book-run.v1");
    EXPECT_EQ(s.at("run").at("result"), PlainJson::parse(bytes_of(folder_ / "bench.captures/run-0001.json")));
    EXPECT_EQ(s.at("captures").size(), 2U);
    EXPECT_EQ(s.at("coil"), PlainJson::parse(bytes_of(folder_ / "coil.json")));
    EXPECT_EQ(PlainJson::parse(coldtune({"book", "show", path(), "1", "--coil"}).out), s.at("coil"));
    const Said none = coldtune({"book", "show", path(), "7"});
    EXPECT_EQ(none.code, 2);
    EXPECT_THAT(none.err, StartsWith("coldtune book show: there is no run \"7\""));
}

TEST_F(BookCommand, AnalyzeAndMeasureKeepTheirRunsWithBook) {
    const Said analyzed = with({"analyze", "--book", path(), "--json"}, analysis(at("foot.wav")));
    EXPECT_EQ(analyzed.code, 0) << analyzed.err;
    EXPECT_EQ(PlainJson::parse(analyzed.out).at("schema"), "coldtune.result.v1");  // the contract of analyze stays
    const Said measured =
        coldtune({"measure", "--device", "simulated", "--hookup", "open", "--reference", "10k", "--rate", "48000",
                  "--period", "24000", "--periods", "3", "--book", path(), "--name", "lead"});
    EXPECT_EQ(measured.code, 0) << measured.err;
    EXPECT_THAT(measured.err, HasSubstr("kept as run 2 in "));
    const Said with_out =
        coldtune({"measure", "--device", "simulated", "--hookup", "open", "--reference", "10k", "--rate", "48000",
                  "--period", "24000", "--periods", "3", "--book", path(), "--out", at("lead.wav"), "--keep", "wav"});
    EXPECT_EQ(with_out.code, 0) << with_out.err;
    const auto read = book::read_book(*book::places_of(path()));
    ASSERT_TRUE(read.ok());
    ASSERT_EQ(read->book.runs.size(), 3U);
    EXPECT_EQ(read->book.runs[1].name, "lead");
    EXPECT_EQ(read->book.runs[1].capture, "0003-open.flac");
    EXPECT_EQ(bytes_of(folder_ / "bench.captures/0004-open.wav"), bytes_of(at("lead.wav")));
    const Said nowhere = coldtune({"measure", "--device", "simulated", "--hookup", "open", "--reference", "10k"});
    EXPECT_EQ(nowhere.code, 2);
    EXPECT_THAT(nowhere.err, HasSubstr("say where the capture goes: --out FILE, --book BOOK.json or both"));
    EXPECT_EQ(with({"analyze", "--name", "x"}, analysis(at("foot.wav"))).code, 2);  // --name belongs to --book
    const Said check = coldtune({"book", "check", path(), "--again", "--json"});
    EXPECT_EQ(check.code, 0) << check.err << check.out;
    EXPECT_EQ(PlainJson::parse(check.out).at("runs_same"), 3);
}

TEST_F(BookCommand, ARejectedMeasurementIsKeptAndSaysSo) {
    audio::CaptureFile swapped = *foot_;
    std::swap(swapped.capture.generator, swapped.capture.coil);
    write("swapped.wav", swapped, audio::SampleFormat::pcm24);
    for (const auto& command : {std::vector<std::string>{"book", "add", path()}, {"analyze", "--book", path()}}) {
        const Said said = with(command, analysis(at("swapped.wav")));
        EXPECT_EQ(said.code, 4);
        EXPECT_THAT(said.err, HasSubstr("kept as run"));
        EXPECT_THAT(said.err, HasSubstr("inputs-swapped"));
    }
    const Said list = coldtune({"book", "list", path()});
    EXPECT_EQ(list.out.find("62.0"), std::string::npos) << list.out;
    EXPECT_EQ(list.out.find("Hz"), std::string::npos) << list.out;
}

TEST_F(BookCommand, CheckNamesWhatIsWrong) {
    add_one();
    EXPECT_EQ(coldtune({"book", "check", path()}).code, 0);
    fs::remove(folder_ / "bench.captures/0001-foot.flac");
    const Said check = coldtune({"book", "check", path()});
    EXPECT_EQ(check.code, 3);
    EXPECT_THAT(check.err, HasSubstr("0001-foot.flac"));
    const PlainJson j = PlainJson::parse(coldtune({"book", "check", path(), "--json"}).out);
    EXPECT_EQ(j.at("sound"), false);
    EXPECT_TRUE(j.at("runs_again").is_null());
}

TEST_F(BookCommand, ADamagedBookIsOpenedFromTheSaveBeforeAndSaidSo) {
    add_one();
    ASSERT_EQ(coldtune({"book", "note", path(), "1", "later"}).code, 0);
    folder_.put("bench.json", "damaged");
    const Said list = coldtune({"book", "list", path(), "--json"});
    EXPECT_EQ(list.code, 0);
    EXPECT_THAT(list.err, HasSubstr("opened save 1 of "));
    EXPECT_THAT(PlainJson::parse(list.out).at("recovered").at("cause").get<std::string>(), HasSubstr("not JSON"));
    const Said check = coldtune({"book", "check", path()});
    EXPECT_EQ(check.code, 3);
    EXPECT_EQ(check.error_lines(), 1) << check.err;
    EXPECT_EQ(check.out.find("all is as it was kept"), std::string::npos) << check.out;
    EXPECT_THAT(check.err, HasSubstr("opened save 1 of "));
    EXPECT_EQ(PlainJson::parse(coldtune({"book", "check", path(), "--json"}).out).at("sound"), false);
    const Said note = coldtune({"book", "note", path(), "1", "again", "--json"});
    EXPECT_EQ(note.code, 0);
    EXPECT_THAT(note.err, HasSubstr("opened save 1 of "));
    EXPECT_EQ(bytes_of(folder_ / "bench.damaged-1.json"), "damaged");
    EXPECT_EQ(PlainJson::parse(note.out).at("notes"), 1);
}

TEST_F(BookCommand, RestoreGoesBackWithoutLosingThePresent) {
    add_one();
    add_one();
    const Said saves = coldtune({"book", "restore", path()});
    EXPECT_EQ(saves.code, 0);
    EXPECT_THAT(saves.out, HasSubstr("save 1 "));
    const Said back = coldtune({"book", "restore", path(), "--save", "1"});
    EXPECT_EQ(back.code, 0) << back.err;
    EXPECT_THAT(back.out, HasSubstr("is again as of save 1, with 1 run; this is save 3"));
    EXPECT_EQ(PlainJson::parse(coldtune({"book", "list", path(), "--json"}).out).at("runs").size(), 1U);
    ASSERT_EQ(coldtune({"book", "restore", path(), "--save", "2", "--json"}).code, 0);
    EXPECT_EQ(PlainJson::parse(coldtune({"book", "list", path(), "--json"}).out).at("runs").size(), 2U);
    add_one();  // numbers are not given twice
    EXPECT_EQ(PlainJson::parse(coldtune({"book", "list", path(), "--json"}).out).at("runs")[2].at("number"), 3);
    EXPECT_EQ(coldtune({"book", "restore", path(), "--save", "99"}).code, 2);
    const PlainJson list = PlainJson::parse(coldtune({"book", "restore", path(), "--json"}).out);
    EXPECT_EQ(list.at("saves").size(), 4U);
}

TEST_F(BookCommand, ACopyStandsOnItsOwn) {
    add_one();
    ASSERT_EQ(coldtune({"book", "copy", path(), at("copy.json")}).code, 0);
    fs::remove_all(folder_ / "bench.captures");
    EXPECT_EQ(coldtune({"book", "check", at("copy.json"), "--again"}).code, 0);
    EXPECT_EQ(coldtune({"book", "copy", path(), at("copy.json")}).code, 3);
}

TEST_F(BookCommand, ACopyOfWhatIsNotAsItWasKeptSaysSo) {
    add_one();
    folder_.put("bench.captures/0002-open.flac", "changed");
    fs::remove(folder_ / "bench.captures/run-0001.json");
    const Said copy = coldtune({"book", "copy", path(), at("copy.json"), "--json"});
    EXPECT_EQ(copy.code, 3);
    for (const char* part : {"0002-open.flac: holds 7 bytes", "run-0001.json: is missing", "2 files are not as kept"})
        EXPECT_THAT(copy.err, HasSubstr(part));
    EXPECT_EQ(PlainJson::parse(copy.out).at("faults").size(), 2U);
    // All that was there is in it.
    EXPECT_EQ(bytes_of(at("copy.captures/0001-foot.flac")), bytes_of(at("bench.captures/0001-foot.flac")));
    EXPECT_EQ(bytes_of(at("copy.captures/0002-open.flac")), "changed");
    fs::remove_all(folder_ / "bench.captures");
    const Said bare = coldtune({"book", "copy", path(), at("bare.json")});
    EXPECT_EQ(bare.code, 3);
    EXPECT_THAT(bare.err, HasSubstr("bench.captures: there is no such folder"));
    EXPECT_THAT(bare.err, HasSubstr("the copy holds none of the 3 kept files"));
}

TEST_F(BookCommand, VanishedCapturesAreRemarkedOnByWhoeverWrites) {
    add_one();
    fs::remove(folder_ / "bench.captures/0002-open.flac");
    const Said note = coldtune({"book", "note", path(), "1", "x"});
    EXPECT_EQ(note.code, 0);
    EXPECT_THAT(note.err, HasSubstr("bench.captures: 1 kept file is missing, first 0002-open.flac"));
    fs::rename(folder_ / "bench.captures", folder_ / "away");
    const Said add = with({"book", "add", path()}, analysis(at("foot.wav")));
    EXPECT_EQ(add.code, 0) << add.err;
    EXPECT_THAT(add.err, HasSubstr("bench.captures: there is no such folder; put it back beside its book (3 kept files "
                                   "of the book lie in it)"));
}

TEST_F(BookCommand, NamesAreKeptAsTheyAreOrRefused) {
    const std::string long_name(101, 'n');
    struct Case {
        std::string name;
        const char* says;
    };
    for (const Case& c : std::vector<Case>{{"two\nlines", "the name holds control characters"},
                                           {"bell\x07", "the name holds control characters"},
                                           {"bad\xff", "the name is not valid UTF-8"},
                                           {long_name, "the name is too long (101 characters, at most 100)"},
                                           {"", "the name is empty"},
                                           {"3", "would be taken for a run's number"},
                                           {"0042", "would be taken for a run's number"}}) {
        for (std::vector<std::string> command :
             {std::vector<std::string>{"book", "add", path()}, {"analyze", "--book", path()}}) {
            command.insert(command.end(), {"--name", c.name});
            const Said said = with(command, analysis(at("foot.wav")));
            EXPECT_EQ(said.code, 2) << said.err;
            EXPECT_EQ(said.error_lines(), 1) << said.err;
            EXPECT_THAT(said.err, HasSubstr(c.says));
        }
        // Before anything sounds.
        const Said measured = coldtune({"measure", "--device", "simulated", "--hookup", "open", "--reference", "10k",
                                        "--book", path(), "--name", c.name});
        EXPECT_EQ(measured.code, 2);
        EXPECT_EQ(measured.error_lines(), 1) << measured.err;
    }
    for (const char* note : {"", "two\nlines", "bad\xff"}) {
        const Said said = with({"book", "add", path(), "--note", note}, analysis(at("foot.wav")));
        EXPECT_EQ(said.code, 2) << said.err;
        EXPECT_EQ(said.error_lines(), 1) << said.err;
    }
    EXPECT_FALSE(fs::exists(path()));
    // A hundred characters are as many as one sees, and they come back as they were.
    std::string umlauts;
    for (int i = 0; i < 100; ++i) umlauts += "\u00e4";
    ASSERT_EQ(with({"book", "add", path(), "--name", umlauts}, analysis(at("foot.wav"))).code, 0);
    EXPECT_EQ(coldtune({"book", "show", path(), umlauts}).code, 0);
    // A file called 3.wav makes no run called 3.
    fs::copy_file(at("foot.wav"), at("3.wav"));
    const Said three =
        coldtune({"book", "add", at("other.json"), at("3.wav"), "--hookup", "foot", "--reference", "10k"});
    EXPECT_EQ(three.code, 0) << three.err;
    EXPECT_THAT(three.err, HasSubstr("the run is called \"foot 3\""));
    EXPECT_EQ(coldtune({"book", "show", at("other.json"), "foot 3"}).code, 0);
}

TEST_F(BookCommand, ABookThatIsOpenElsewhereIsNotWrittenTo) {
    add_one();
    const auto window = book::BookFile::open(path());
    ASSERT_TRUE(window.ok());
    for (const auto& command : {std::vector<std::string>{"book", "add", path()}, {"analyze", "--book", path()}}) {
        const Said said = with(command, analysis(at("foot.wav")));
        EXPECT_EQ(said.code, 3);
        EXPECT_THAT(said.err, HasSubstr("is open in process "));
    }
    // Before any sound is made.
    const Said measure = coldtune({"measure", "--device", "simulated", "--hookup", "open", "--reference", "10k",
                                   "--book", path(), "--out", at("lead.wav")});
    EXPECT_EQ(measure.code, 3);
    EXPECT_FALSE(fs::exists(folder_ / "lead.wav"));
    EXPECT_EQ(coldtune({"book", "list", path()}).code, 0);  // looking is always possible
}

TEST_F(BookCommand, SlipsAreUsageErrorsOfOneLine) {
    for (const std::vector<std::string>& wrong : {std::vector<std::string>{"book"},
                                                  {"book", "burn"},
                                                  {"book", "list"},
                                                  {"book", "list", at("coil.txt")},
                                                  {"book", "add", path()},
                                                  {"book", "note", path(), "1"},
                                                  {"book", "restore", path(), "--save", "x"},
                                                  {"book", "show", path(), "1", "--curve"}}) {
        const Said said = coldtune(wrong);
        EXPECT_EQ(said.code, 2) << said.err;
        EXPECT_EQ(std::count(said.err.begin(), said.err.end(), '\n'), 1) << said.err;
    }
    const Said below = coldtune({"book", "restore", path(), "--save", "-1"});
    EXPECT_EQ(below.code, 2);
    EXPECT_THAT(below.err, HasSubstr("--save: Value -1 not in range"));
    EXPECT_THAT(coldtune({"book", "burn"}).err,
                StartsWith("coldtune book: there is no command 'burn'; the commands are list"));
    EXPECT_EQ(coldtune({"book", "list", at("none.json")}).code, 3);
    EXPECT_EQ(coldtune({"book", "list", at("coil.json")}).code, 3);
    // Every command says of what is no book what it is, in one line.
    folder_.put("empty.json", "");
    folder_.put("huge.json", R"({"schema": "coldtune.book.v1", "save_number": 1e400})");
    fs::create_directory(folder_ / "folder.json");
    struct Bad {
        const char* book;
        const char* says;
    };
    for (const Bad& bad :
         std::vector<Bad>{{"none.json", "none.json: there is no such book; make it with coldtune book add"},
                          {"coil.json", "coil.json: is no bench book"},
                          {"empty.json", "empty.json: empty; JSON is expected; no earlier save is there"},
                          {"huge.json", "huge.json: line 1, column 51: the number is beyond what a double holds"},
                          {"folder.json", "folder.json: is no ordinary file; name the book itself"}}) {
        for (const std::vector<std::string>& command : {std::vector<std::string>{"book", "list", at(bad.book)},
                                                        {"book", "show", at(bad.book), "1"},
                                                        {"book", "check", at(bad.book)},
                                                        {"book", "note", at(bad.book), "1", "x"},
                                                        {"book", "restore", at(bad.book)},
                                                        {"book", "restore", at(bad.book), "--save", "1"},
                                                        {"book", "copy", at(bad.book), at("to.json")},
                                                        {"book", "export", at(bad.book), "1", "--out", at("x.csv")}}) {
            const Said said = coldtune(command);
            EXPECT_EQ(said.code, 3) << command[1] << ' ' << said.err;
            EXPECT_EQ(said.error_lines(), 1) << command[1] << ' ' << said.err;
            EXPECT_THAT(said.err, HasSubstr(bad.says)) << command[1];
        }
    }
    const Said help = coldtune({"book", "add", "--help"});
    EXPECT_EQ(help.code, 0);
    EXPECT_THAT(help.out, HasSubstr("--keep"));
}

}  // namespace
}  // namespace coldtune
