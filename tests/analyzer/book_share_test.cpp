// A bench book taken elsewhere: its runs exported, its pages made, a coupled pair kept in it.
#include <gmock/gmock.h>

#include <complex>
#include <nlohmann/json.hpp>
#include <regex>

#include "analyzer/share/report_book.hpp"
#include "analyzer/share/response_file.hpp"
#include "tests/support/book_rig.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/example_book.hpp"

namespace coldtune {
namespace {

namespace fs = std::filesystem;
using PlainJson = nlohmann::json;
using testing::bytes_of;
using testing::coldtune;
using ::testing::HasSubstr;
using testing::Said;

class BookShare : public test::BookRig {
protected:
    [[nodiscard]] std::string path() const { return at("bench.json"); }
    void SetUp() override {
        BookRig::SetUp();
        const Said said = coldtune({"book", "add", path(), at("foot.wav"), "--hookup", "foot", "--reference", "10k",
                                    "--open", at("open.wav"), "--coil", at("coil.json"), "--name", "with <top> load",
                                    "--note", "wall 1 m & away"});
        ASSERT_EQ(said.code, 0) << said.err;
    }
    // A run that was rejected: the channels swapped.
    void add_rejected() const {
        audio::CaptureFile swapped = *foot_;
        std::swap(swapped.capture.generator, swapped.capture.coil);
        write("swapped.wav", swapped, audio::SampleFormat::pcm24);
        ASSERT_EQ(coldtune({"book", "add", path(), at("swapped.wav"), "--hookup", "foot", "--reference", "10k"}).code,
                  4);
    }
    [[nodiscard]] PlainJson stored() const {
        return PlainJson::parse(bytes_of(folder_ / "bench.captures/run-0001.json"));
    }
};

TEST_F(BookShare, ExportsARunAsTheResultFileItself) {
    const PlainJson curve = stored().at("curve");
    for (const char* name : {"a.csv", "a.s1p", "a.ts"}) {
        const Said said = coldtune({"book", "export", path(), "1", "--out", at(name), "--parameter", "z"});
        ASSERT_EQ(said.code, 0) << said.err;
        const auto back = share::read_response(at(name));
        ASSERT_TRUE(back.ok()) << back.error().message;
        ASSERT_EQ(back->frequency_hz, curve.at("frequency_hz").get<std::vector<double>>());
        const auto real = curve.at("impedance_real_ohm").get<std::vector<double>>();
        const auto imaginary = curve.at("impedance_imaginary_ohm").get<std::vector<double>>();
        for (std::size_t k = 0; k < real.size(); ++k) {
            const std::complex<double> z(real[k], imaginary[k]);
            // Shortest digits that come back; Touchstone's Z is written over the reference and multiplied again.
            ASSERT_LE(std::abs(back->impedance_ohm[k] - z), 1e-15 * std::abs(z)) << name << ' ' << k;
        }
    }
    // What the other command makes of the same file says the same but where it comes from.
    for (const char* kind : {".cir", ".s1p", ".csv"}) {
        const std::string by_book = at("x") + kind, by_file = at("y") + kind;
        ASSERT_EQ(coldtune({"book", "export", path(), "with <top> load", "--out", by_book}).code, 0);
        ASSERT_EQ(coldtune({"export", at("bench.captures/run-0001.json"), "--out", by_file}).code, 0);
        const std::regex head("[*!#] (Written by|From) [^\n]*\n");
        EXPECT_EQ(std::regex_replace(bytes_of(by_book), head, ""), std::regex_replace(bytes_of(by_file), head, ""));
    }
    EXPECT_TRUE(bytes_of(at("x.cir")).find("From bench.json, run 1\n") != std::string::npos)
        << "From bench.json, run 1\n";
    const Said plot = coldtune({"book", "export", path(), "1", "--out", at("p.svg"), "--over", at("a.csv"), "--json"});
    ASSERT_EQ(plot.code, 0) << plot.err;
    EXPECT_EQ(PlainJson::parse(plot.out).at("kind"), "svg");
    for (const char* word : {"with &lt;top&gt; load", "calculated", "a.csv", "measured 6"}) {
        EXPECT_TRUE(bytes_of(at("p.svg")).find(word) != std::string::npos) << word;
    }
}

TEST_F(BookShare, RefusesToExportInOneLine) {
    add_rejected();
    for (const auto& [arguments, code, says] : std::vector<std::tuple<std::vector<std::string>, int, const char*>>{
             {{path(), "2", "--out", at("x.cir")}, 4, "rejected"},
             {{path(), "2", "--out", at("x.csv")}, 4, "run 2 of "},
             {{path(), "9", "--out", at("x.csv")}, 2, "there is no run"},
             {{path(), "1", "--out", at("x.doc")}, 2, "--as"},
             {{path(), "1", "--out", at("x.csv"), "--band", "1k:9k"}, 2, ".svg"},
             {{at("none.json"), "1", "--out", at("x.csv")}, 3, "none.json"},
             {{path(), "1", "--out", at("x.svg"), "--band", "1M:2M"}, 2, "no curve has two points in it; they go from"},
             // What cannot be made again is not written over.
             {{path(), "1", "--out", path(), "--as", "csv"}, 2, "name another file"},
             {{path(), "1", "--out", at("bench.captures/0002-foot.flac"), "--as", "csv"}, 2, "folder of a bench book"},
             {{path(), "1", "--out", at("coil.json"), "--as", "csv"}, 2, "exists and may be"},
             {{path(), "1"}, 2, "--out"}}) {
        std::vector<std::string> command = {"book", "export"};
        command.insert(command.end(), arguments.begin(), arguments.end());
        const Said said = coldtune(command);
        EXPECT_EQ(said.code, code) << said.err;
        EXPECT_EQ(said.error_lines(), 1) << said.err;
        EXPECT_THAT(said.err, HasSubstr(says));
    }
    // A result file that is not as it was kept gives nothing.
    folder_.put("bench.captures/run-0001.json", bytes_of(folder_ / "bench.captures/run-0001.json") + " ");
    EXPECT_EQ(coldtune({"book", "export", path(), "1", "--out", at("x.csv")}).code, 3);
    EXPECT_FALSE(fs::exists(at("x.csv")) || fs::exists(at("x.cir")));
}

TEST_F(BookShare, ReportHoldsTheRunsOfABook) {
    add_rejected();
    const Said said = coldtune({"report", path(), "--out", at("r.html"), "--title", "Wren"});
    ASSERT_EQ(said.code, 0) << said.err;
    EXPECT_EQ(said.err, "");
    EXPECT_THAT(said.out, HasSubstr("(2 runs)"));
    const std::string html = bytes_of(at("r.html"));
    for (const char* word :
         {"<h1>Wren</h1>", "1 with &lt;top&gt; load", "wall 1 m &amp; away", "10.00 k\u03A9", "made up", "2 swapped",
          "rejected", "Uncertainty", "The coil", "600.0 mm", "from bench.json"}) {
        EXPECT_TRUE(html.find(word) != std::string::npos) << word;
    }
    for (const char* word : {"Not drawn: 2 swapped (rejected: the curve is no impedance)",
                             "Nothing is said about the tuning: no run gave that of the tank (hookup tank)."}) {
        EXPECT_TRUE(html.find(word) != std::string::npos) << word;
    }
    EXPECT_THAT(said.out, HasSubstr("without the tuning: no run gave that of the tank"));
    // The number of the book, as `book list` says it.
    const PlainJson l = PlainJson::parse(coldtune({"book", "list", path(), "--json"}).out);
    const double khz = l.at("runs")[0].at("frequency_hz").get<double>() / 1000;
    EXPECT_TRUE(html.find(fmt::format("{:.2f}", khz).substr(0, 4)) != std::string::npos)
        << fmt::format("{:.2f}", khz).substr(0, 4);
    // Beside result files, and some runs only.
    const Said both =
        coldtune({"report", path(), at("bench.captures/run-0001.json"), "--run", "1", "--json", "--out", at("b.html")});
    ASSERT_EQ(both.code, 0) << both.err;
    EXPECT_EQ(PlainJson::parse(both.out).at("runs"), 2);
    EXPECT_TRUE(bytes_of(at("b.html")).find("swapped") == std::string::npos) << "swapped";
    for (const auto& [arguments, code, says] : std::vector<std::tuple<std::vector<std::string>, int, const char*>>{
             {{path(), path()}, 2, "one book"},
             {{at("bench.captures/run-0001.json"), "--run", "1"}, 2, "--run"},
             {{path(), "--run", "7"}, 2, "there is no run"},
             {{at("coil.json")}, 3, "not a result"}}) {
        std::vector<std::string> command = {"report", "--out", at("no.html")};
        command.insert(command.end(), arguments.begin(), arguments.end());
        const Said refused = coldtune(command);
        EXPECT_EQ(refused.code, code) << refused.err;
        EXPECT_EQ(refused.error_lines(), 1) << refused.err;
        EXPECT_THAT(refused.err, HasSubstr(says));
    }
    EXPECT_FALSE(fs::exists(at("no.html")));
}

TEST_F(BookShare, ReportSaysWhatItCouldNotRead) {
    // The curve is lost, the book's own numbers stand.
    fs::remove(folder_ / "bench.captures/run-0001.json");
    const Said said = coldtune({"report", path(), "--out", at("r.html")});
    ASSERT_EQ(said.code, 0) << said.err;
    EXPECT_EQ(said.error_lines(), 1);
    EXPECT_THAT(said.err, HasSubstr("run 1 is not drawn"));
    EXPECT_TRUE(bytes_of(at("r.html")).find("figure-large") != std::string::npos) << "figure-large";
    EXPECT_TRUE(bytes_of(at("r.html")).find(">Response<") == std::string::npos) << ">Response<";
    // A damaged book: from its earlier save, and said so.
    ASSERT_EQ(coldtune({"book", "note", path(), "1", "once more"}).code, 0);
    folder_.put("bench.json", "{\"schema\"");
    const Said recovered = coldtune({"report", path(), "--out", at("r2.html")});
    EXPECT_EQ(recovered.code, 0) << recovered.err;
    EXPECT_THAT(recovered.err, HasSubstr("bench.json"));
    EXPECT_TRUE(fs::exists(at("r2.html")));
}

TEST_F(BookShare, KeepsACoupledPairAndMakesItAgain) {
    bench::Bench bench;
    bench.coil = bench::LumpedCoil{{{0.12, 48e-12, 400}}, 7e-12};
    bench.tank = {50e-6, 0.2, 110e-9};
    bench.coupling = 0.13;
    bench.primary_circuit = bench::PrimaryCircuit::closed;
    write("pair.wav", test::capture(bench, bench::Hookup::foot, {.period = 64000, .periods = 4}),
          audio::SampleFormat::pcm24);
    const std::vector<std::string> analysis = {at("pair.wav"), "--coupled", "--hookup", "foot",
                                               "--reference",  "10k",       "--open",   at("open.wav")};
    std::vector<std::string> add = {"book", "add", path()}, analyze = {"analyze", "--json", "--curve"};
    add.insert(add.end(), analysis.begin(), analysis.end());
    analyze.insert(analyze.end(), analysis.begin(), analysis.end());
    const Said added = coldtune(add);
    ASSERT_EQ(added.code, 0) << added.err;
    EXPECT_EQ(coldtune(analyze).out, bytes_of(folder_ / "bench.captures/run-0002.json"));
    const PlainJson pair = PlainJson::parse(bytes_of(folder_ / "bench.captures/run-0002.json")).at("pair");
    ASSERT_TRUE(pair.is_object());
    EXPECT_TRUE(PlainJson::parse(bytes_of(path())).at("runs")[1].at("settings").at("coupled").get<bool>());
    EXPECT_FALSE(PlainJson::parse(bytes_of(path())).at("runs")[0].at("settings").contains("coupled"));
    const PlainJson l = PlainJson::parse(coldtune({"book", "list", path(), "--json"}).out);
    EXPECT_EQ(l.at("runs")[1].at("k"), pair.at("k"));
    EXPECT_EQ(l.at("runs")[1].at("primary_frequency_hz"), pair.at("primary_frequency_hz"));
    for (const char* part : {"coupling k", "secondary", "tank"}) {
        EXPECT_THAT(coldtune({"book", "show", path(), "2"}).out, HasSubstr(part));
    }
    const Said again = coldtune({"book", "check", path(), "--again"});
    EXPECT_EQ(again.code, 0) << again.err;
    EXPECT_THAT(again.out, HasSubstr("2 of them the same bit for bit"));
    ASSERT_EQ(coldtune({"report", path(), "--out", at("r.html")}).code, 0);
    for (const char* part : {"Secondary and tank together", "tank closed: the same around both resonances", "Its Q"}) {
        EXPECT_TRUE(bytes_of(at("r.html")).find(part) != std::string::npos) << part;
    }
    // No circuit of one branch has two resonances.
    const Said circuit = coldtune({"book", "export", path(), "2", "--out", at("x.cir")});
    EXPECT_EQ(circuit.code, 3);
    EXPECT_THAT(circuit.err, HasSubstr("secondary and tank together are no single circuit"));
    EXPECT_EQ(coldtune({"book", "export", path(), "2", "--out", at("x.svg")}).code, 0);
}

TEST(BookPages, OfManyRunsTheLastBudgetsOnly) {
    const book::Book b = test::example_book(12);
    const testing::ScratchFolder folder;
    auto pages = share::pages_of(b, *book::places_of(folder / "book.json"), {});
    ASSERT_TRUE(pages.ok()) << pages.error().message;
    EXPECT_EQ(pages->runs.size(), 12U);
    EXPECT_EQ(pages->coil_version, 1);
    EXPECT_EQ(pages->remarks.size(), share::most_drawn_together);  // their files are not there
    share::Report report;
    report.runs = std::move(pages->runs);
    const auto html = share::report_html(report);
    ASSERT_TRUE(html.ok());
    EXPECT_TRUE(html->find("<h3>12 foot 12</h3>") != std::string::npos) << "<h3>12 foot 12</h3>";
    EXPECT_TRUE(html->find("<h3>11 foot 11</h3>") == std::string::npos) << "<h3>11 foot 11</h3>";
    EXPECT_TRUE(html->find("Of each kind of run the last one.") != std::string::npos)
        << "Of each kind of run the last one.";
    // What is left out of the picture is said, here because no file is there and because only the last are drawn.
    for (const char* words :
         {"Not drawn: 1 foot 1, 2 foot 2, 3 foot 3, 4 foot 4, 5 foot 5, 6 foot 6, 7 foot 7 (only the last 5 of a kind "
          "are",
          "8 foot 8, 9 foot 9, 10 foot 10, 11 foot 11, 12 foot 12 (the file of its curve is missing or not as it was "
          "kept)"}) {
        EXPECT_TRUE(html->find(words) != std::string::npos) << words;
    }
    EXPECT_FALSE(share::pages_of(test::example_book(0), *book::places_of(folder / "book.json"), {}).ok());
}

}  // namespace
}  // namespace coldtune
