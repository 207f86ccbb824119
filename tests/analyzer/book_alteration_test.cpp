// A book that somebody edited: what was kept is told from what was written into it later.
#include <gmock/gmock.h>

#include <functional>
#include <nlohmann/json.hpp>

#include "analyzer/book/alterations.hpp"
#include "analyzer/book/check.hpp"
#include "analyzer/book/seal.hpp"
#include "tests/support/book_rig.hpp"
#include "tests/support/command_line.hpp"

namespace coldtune {
namespace {

namespace fs = std::filesystem;
using record::Json;
using testing::bytes_of;
using testing::coldtune;
using ::testing::HasSubstr;
using ::testing::Not;
using testing::Said;

// Far from the 62 kHz of the bench's own coil.
constexpr double altered_hz = 77123;
constexpr const char* altered_digits = "77.123";

class BookAlteration : public test::BookRig {
protected:
    [[nodiscard]] std::string path() const { return at("bench.json"); }
    void SetUp() override {
        BookRig::SetUp();
        const Said said = coldtune({"book", "add", path(), at("foot.wav"), "--hookup", "foot", "--reference", "10k",
                                    "--open", at("open.wav"), "--coil", at("coil.json"), "--note", "first"});
        ASSERT_EQ(said.code, 0) << said.err;
    }
    // As a text editor leaves it.
    void edit(const std::function<void(Json&)>& change, int indent = 2) const {
        Json json = Json::parse(bytes_of(path()));
        change(json);
        folder_.put("bench.json", json.dump(indent));
    }
    void edit_resonance() const {
        edit([](Json& j) { j["runs"][0]["result"]["resonance"]["frequency_hz"] = altered_hz; });
    }
    [[nodiscard]] double kept_hz() const {
        return Json::parse(bytes_of(folder_ / "bench.captures/run-0001.json"))["resonance"]["frequency_hz"]
            .get<double>();
    }
    // Every way of looking, with what it wrote.
    [[nodiscard]] std::string everything_shown() const {
        std::string shown;
        for (const std::vector<std::string>& command : {std::vector<std::string>{"book", "list", path()},
                                                        {"book", "list", path(), "--json"},
                                                        {"book", "show", path(), "1"},
                                                        {"book", "show", path(), "1", "--json"},
                                                        {"report", path(), "--out", at("r.html")},
                                                        {"book", "export", path(), "1", "--out", at("r.s1p")}}) {
            shown += coldtune(command).out;
        }
        for (const char* file : {"r.html", "r.s1p"}) {
            if (fs::exists(at(file))) shown += bytes_of(at(file)).substr(0, 20000);
        }
        return shown;
    }
};

TEST_F(BookAlteration, AnEditedResonanceIsNamedAndNeverShownAsMeasured) {
    const double kept = kept_hz();
    edit_resonance();
    const Said check = coldtune({"book", "check", path()});
    EXPECT_EQ(check.code, 3);
    EXPECT_EQ(check.error_lines(), 1) << check.err;
    for (const char* part : {"run 1: resonance.frequency_hz was changed in the book: ", " as kept, 77123.0 in it"}) {
        EXPECT_THAT(check.err, HasSubstr(part));
        EXPECT_THAT(coldtune({"book", "list", path()}).err, HasSubstr(part));
    }
    EXPECT_THAT(check.out, Not(HasSubstr("all is as it was kept")));
    const Json list = Json::parse(coldtune({"book", "list", path(), "--json"}).out);
    EXPECT_EQ(list["runs"][0]["frequency_hz"], kept);
    EXPECT_EQ(list["altered"][0]["where"], "run 1");
    EXPECT_EQ(list["altered"][0]["restored"], true);
    const std::string shown = everything_shown();
    EXPECT_THAT(shown, HasSubstr("62.0"));
    // Only where it is told that it was changed.
    std::string rest = shown;
    for (std::size_t at = rest.find("77123.0 in it"); at != std::string::npos; at = rest.find("77123.0 in it"))
        rest.erase(at, 7);
    EXPECT_EQ(rest.find("77123"), std::string::npos);
    EXPECT_EQ(rest.find(altered_digits), std::string::npos);
    EXPECT_THAT(bytes_of(at("r.html")), HasSubstr("Not as it was kept"));
    EXPECT_EQ(Json::parse(bytes_of(path()))["runs"][0]["result"]["resonance"]["frequency_hz"], altered_hz);
}

TEST_F(BookAlteration, WhereNothingTellsWhatWasKeptNothingIsShown) {
    edit_resonance();
    fs::remove(folder_ / "bench.captures/run-0001.json");
    const Said list = coldtune({"book", "list", path()});
    EXPECT_EQ(list.code, 0);
    EXPECT_THAT(list.out, HasSubstr("changed"));
    EXPECT_THAT(list.err, HasSubstr("run 1: was changed in the book after it was kept"));
    for (const std::vector<std::string>& command : {std::vector<std::string>{"book", "show", path(), "1"},
                                                    {"book", "show", path(), "1", "--json"},
                                                    {"report", path(), "--out", at("r.html")},
                                                    {"book", "export", path(), "1", "--out", at("r.s1p")},
                                                    {"book", "check", path()},
                                                    {"book", "check", path(), "--again"}}) {
        EXPECT_EQ(coldtune(command).code, 3) << command[1];
    }
    EXPECT_THAT(everything_shown(), Not(HasSubstr("77")));
    EXPECT_FALSE(fs::exists(at("r.html")));
}

TEST_F(BookAlteration, ALaterSaveDoesNotCoverItUp) {
    edit_resonance();
    for (const char* note : {"one", "two"}) {
        const Said said = coldtune({"book", "note", path(), "1", note});
        EXPECT_EQ(said.code, 0) << said.err;
        EXPECT_THAT(said.err, HasSubstr("not as kept: run 1; coldtune book check says what was changed"));
    }
    EXPECT_EQ(coldtune({"book", "check", path()}).code, 3);
    const Said copy = coldtune({"book", "copy", path(), at("copy.json")});
    EXPECT_EQ(copy.code, 3);
    EXPECT_THAT(copy.err, HasSubstr("not as kept: run 1"));
    EXPECT_EQ(coldtune({"book", "check", at("copy.json")}).code, 3);
}

TEST_F(BookAlteration, EverythingANumberRestsOnIsUnderASeal) {
    ASSERT_EQ(coldtune({"book", "note", path(), "1", "so that there is an earlier save"}).code, 0);
    const std::string sound = bytes_of(path());
    struct Case {
        const char* where;
        const char* field;
        std::function<void(Json&)> change;
    };
    for (const Case& c : std::vector<Case>{
             {"run 1", "settings.reference_ohm", [](Json& j) { j["runs"][0]["settings"]["reference_ohm"] = 1e4 + 1; }},
             {"run 1", "settings.tolerances.clock_ppm",
              [](Json& j) { j["runs"][0]["settings"]["tolerances"]["clock_ppm"] = 1; }},
             {"run 1", "response.impedance_real_ohm[3]",
              [](Json& j) { j["runs"][0]["response"]["impedance_real_ohm"][3] = 5; }},
             {"run 1", "resonance.q", [](Json& j) { j["runs"][0]["result"]["resonance"]["q"] = nullptr; }},
             {"run 1", "time_utc", [](Json& j) { j["runs"][0]["time_utc"] = "2026-11-27T10:30:00Z"; }},
             {"run 1", "result_file.sha256",
              [](Json& j) { j["runs"][0]["result_file"]["sha256"] = std::string(64, 'a'); }},
             {"coil version 1", "description.secondary.turns",
              [](Json& j) { j["coils"][0]["description"]["secondary"]["turns"] = 1234; }},
             {"interface 1", "input_capacitance_f", [](Json& j) { j["interfaces"][0]["input_capacitance_f"] = 1e-12; }},
             {"0001-foot.flac", "sample_rate_hz", [](Json& j) { j["captures"][0]["sample_rate_hz"] = 44100; }}}) {
        folder_.put("bench.json", sound);
        EXPECT_EQ(coldtune({"book", "check", path()}).code, 0);
        edit(c.change);
        const Said check = coldtune({"book", "check", path()});
        EXPECT_EQ(check.code, 3) << c.field;
        EXPECT_EQ(check.error_lines(), 1) << check.err;
        EXPECT_THAT(check.err, HasSubstr(std::string(c.where)));
        EXPECT_THAT(check.err, HasSubstr(std::string(c.field) + " was changed in the book: "));
        // The saves before are gone: what cannot be brought back is not used either.
        fs::rename(folder_ / "bench.saves", folder_ / "away");
        const Json list = Json::parse(coldtune({"book", "list", path(), "--json"}).out);
        EXPECT_EQ(list["altered"].size(), 1U) << c.field;
        fs::rename(folder_ / "away", folder_ / "bench.saves");
    }
}

TEST_F(BookAlteration, AChangedCoilOrInterfaceIsNotShownNorUsed) {
    edit([](Json& j) {
        j["coils"][0]["description"]["secondary"]["turns"] = 1234;
        j["interfaces"][0]["input_capacitance_f"] = 1e-12;
        j["captures"][0]["sample_rate_hz"] = 44100;
    });
    const Said show = coldtune({"book", "show", path(), "1"});
    EXPECT_EQ(show.code, 0) << show.err;
    EXPECT_THAT(show.out, HasSubstr("62.0"));  // the run itself is as it was
    EXPECT_THAT(show.out, HasSubstr("version 1, changed in the book"));
    EXPECT_THAT(show.out, HasSubstr("interface       changed in the book"));
    EXPECT_THAT(show.out, Not(HasSubstr("44.1")));
    EXPECT_EQ(coldtune({"book", "show", path(), "1", "--coil"}).code, 3);
    const Said report = coldtune({"report", path(), "--out", at("r.html")});
    EXPECT_EQ(report.code, 0) << report.err;
    EXPECT_THAT(report.err, HasSubstr("the coil is not shown: run 1: coil version 1: was changed"));
    EXPECT_THAT(bytes_of(at("r.html")), Not(HasSubstr("The coil</h2>")));
    EXPECT_THAT(coldtune({"book", "check", path(), "--again"}).out, HasSubstr("run 1\n      cannot be analysed again"));
    // The same description given again is a version of its own, not the changed one.
    ASSERT_EQ(coldtune({"book", "add", path(), at("foot.wav"), "--hookup", "foot", "--reference", "10k", "--coil",
                        at("coil.json")})
                  .code,
              0);
    const Json book = Json::parse(bytes_of(path()));
    EXPECT_EQ(book["runs"][1]["coil"], 2);
    EXPECT_EQ(book["runs"][1]["interface"], 2);
    EXPECT_NE(book["runs"][1]["capture"], "0001-foot.flac");
}

TEST_F(BookAlteration, WordsMayBeEditedAndTextLaidOutAnew) {
    edit(
        [](Json& j) {
            j["runs"][0]["name"] = "another";
            j["runs"][0]["notes"][0]["text"] = "better said";
            // Whole numbers without their point, another order of keys: what a tool may make of it.
            j["runs"][0]["settings"]["reference_ohm"] = 10000;
            Json turned = Json::object();
            const Json run = j["runs"][0];
            for (auto member = run.rbegin(); member != run.rend(); ++member) turned[member.key()] = member.value();
            j["runs"][0] = turned;
        },
        7);
    const Said check = coldtune({"book", "check", path(), "--again"});
    EXPECT_EQ(check.code, 0) << check.err;
    EXPECT_THAT(check.out, HasSubstr("all is as it was kept"));
    EXPECT_THAT(coldtune({"book", "list", path()}).out, HasSubstr("another"));
}

TEST_F(BookAlteration, ABookOfBeforeThereWereSealsIsHeldAgainstItsFiles) {
    const double kept = kept_hz();
    edit([](Json& j) {
        for (const char* list : {"coils", "interfaces", "captures", "runs"}) {
            for (Json& entry : j[list]) entry.erase("seal");
        }
    });
    EXPECT_EQ(coldtune({"book", "check", path()}).code, 0);
    EXPECT_THAT(coldtune({"book", "list", path()}).err, HasSubstr("1 run of before there were seals"));
    edit_resonance();
    const Said check = coldtune({"book", "check", path()});
    EXPECT_EQ(check.code, 3);
    EXPECT_THAT(check.err, HasSubstr("run 1: resonance.frequency_hz was changed in the book"));
    const Said show = coldtune({"book", "show", path(), "1", "--json"});
    EXPECT_EQ(Json::parse(show.out)["run"]["result"]["resonance"]["frequency_hz"], kept);
    ASSERT_EQ(coldtune({"report", path(), "--out", at("r.html")}).code, 0);
    EXPECT_THAT(bytes_of(at("r.html")).substr(bytes_of(at("r.html")).find("figure-large\">"), 60), HasSubstr("62.0"));
}

TEST_F(BookAlteration, AResultEditedInMemoryIsFoundToo) {
    book::BookFile file = book();
    Json better = *file.book().runs[0].result;
    better["resonance"]["q"] = 400.0;
    file.book().runs[0].result = std::make_shared<const Json>(better);
    const book::CheckReport report = book::check_book(file.book(), file.places(), false, {});
    ASSERT_EQ(report.findings.size(), 1U);
    EXPECT_EQ(report.findings[0].where, "run 1");
    EXPECT_THAT(report.findings[0].sentence, HasSubstr("resonance.q was changed in the book: "));
}

TEST(Seal, OfValuesAndNotOfTheirSpelling) {
    const auto seal = [](const char* text) { return book::seal_of(Json::parse(text)); };
    const std::string one = seal(R"({"a": 10000.0, "b": [1, "x"], "c": null})");
    EXPECT_EQ(one, seal(R"({"b":[1.0,"x"],"a":1e4,"name":"n","notes":[1],"seal":"s"})"));
    for (const char* other :
         {R"({"a": 10000.000000000002, "b": [1, "x"]})", R"({"a": 10000, "b": ["x", 1]})", R"({"a": 10000, "b": [1]})",
          R"({"a": "10000", "b": [1, "x"]})", R"({"a": 10000, "b": [1, "x"], "d": {"name": 1}})"}) {
        EXPECT_NE(one, seal(other)) << other;
    }
    // Written out by hand and summed with sha256sum.
    EXPECT_EQ(seal(R"({"b": [true, "x"], "a": 1.5})"), book::seal_of(Json{{"a", 1.5}, {"b", {true, "x"}}}));
    EXPECT_EQ(seal(R"({"b": [true, "x"], "a": 1.5})"),
              "9a3fb9f0577fe31612ce46f5c5cb203e9282c0da3b3edd9a62ba4d37f35e0c84");
}

}  // namespace
}  // namespace coldtune
