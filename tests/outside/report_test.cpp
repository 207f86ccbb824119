// The report under Python's parsers: well-formed, alone in the world, and no number where there was no measurement.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cctype>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "analyzer/measure/result_json.hpp"
#include "analyzer/share/report.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/example_coil.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scipy_python.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::share {
namespace {

using Json = nlohmann::json;
using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::Not;

// Everything a person could put into a name to break out of it.
constexpr const char* kHostile =
    "</title><script>alert(1)</script>\"'><img src=x onerror=alert(2)>&lt;&amp;]]>\x01\x1B[31m\xFF\xC0\xAF\u202E<!--";

measure::MeasurementResult foot_result(double frequency_hz) {
    measure::MeasurementResult r;
    measure::Resonance found;
    found.frequency_hz = frequency_hz;
    found.frequency_u95_hz = 4;
    found.q = 130;
    found.q_u95 = 0.5;
    found.resistance_ohm = 590;
    found.resistance_u95_ohm = 15;
    found.budget = {{"noise", 0.1, 0.1, 1}, {"clock", 1.9, 0, 0}};
    r.outcome = measure::Accepted{.resonance = found, .winding = {}, .coupling = {}};
    model::Calculated c;
    c.frequency_hz = 1.01 * frequency_hz;
    c.frequency_u95_hz = 2000;
    r.calculated = c;
    for (int k = 0; k < 500; ++k) {
        const double f = 1e3 + 170.0 * k, u = 130 * (f / frequency_hz - frequency_hz / f);
        r.curve.frequency_hz.push_back(f);
        r.curve.impedance_ohm.push_back(590.0 * std::complex<double>(1, u));
        r.curve.standard_deviation_ohm.push_back(5);
    }
    return r;
}

measure::MeasurementResult rejected_result() {
    measure::MeasurementResult r = foot_result(43210.9);
    r.outcome = measure::Rejected{};
    r.findings = {{measure::FindingCode::clipped, measure::Weight::reject, "input 1 is clipped; turn it down"}};
    return r;
}

Json read_elsewhere(const std::string& html) {
    const testing::ScratchFolder folder;
    const auto outcome =
        testing::run({testing::scipy_python(), std::string(COLDTUNE_SOURCE_DIR) + "/tests/outside/read_report.py",
                      folder.put("r.html", html).string()},
                     std::chrono::seconds(60));
    EXPECT_EQ(outcome.code, 0) << outcome.errors;
    return Json::parse(outcome.output);
}

bool has_digit(const std::string& text) {
    return std::any_of(text.begin(), text.end(), [](unsigned char c) { return std::isdigit(c) != 0; });
}

TEST(ReportElsewhere, IsWellFormedAloneAndEscapedWhateverTheNames) {
    Report report;
    report.title = kHostile;
    report.note = kHostile;
    report.coil = test::example_coil({model::Toroid{0.4, 0.1, 0.08}});
    report.coil->name = kHostile;
    report.provenance = {"coldtune", "2026-11-27T14:05:00Z", kHostile};
    report.tuning = ReportTuning{kHostile, {{kHostile, kHostile}}, {"raise the tap by half a turn", kHostile}};
    measure::MeasurementResult first = foot_result(62e3);
    std::get<measure::Accepted>(first.outcome).resonance->budget.push_back({kHostile, 0.5, 0.2, 7});
    report.runs.push_back({kHostile, kHostile, kHostile, kHostile, kHostile, first});
    report.runs.push_back({"second", "", "", "", "", foot_result(62.1e3)});
    report.runs.push_back({"bad", "", "", "", "", rejected_result()});
    report.runs.back().result.findings.push_back({measure::FindingCode::hum, measure::Weight::note, kHostile});
    measure::MeasurementResult tank = foot_result(63e3);
    tank.hookup = bench::Hookup::tank;
    report.runs.push_back({"tank", "", "", "", "", tank});
    measure::MeasurementResult pair = foot_result(64e3);
    measure::Pair both;
    both.lower = {60e3, 4, 1e-3};
    both.upper = {69e3, 4, 1e-3};
    both.budget = {{kHostile, 1, 1, 1, 1, 1e-5}};
    pair.outcome = measure::Accepted{.pair = both};
    report.runs.push_back({kHostile, "", "", "", kHostile, pair});
    const auto html = report_html(report);
    ASSERT_TRUE(html.ok()) << html.error().message;
    const Json found = read_elsewhere(*html);
    EXPECT_THAT(found.at("unbalanced"), IsEmpty());
    EXPECT_THAT(found.at("reaching"), IsEmpty());
    EXPECT_THAT(found.at("repeated_ids"), IsEmpty());
    EXPECT_FALSE(found.at("style_reaches").get<bool>());
    EXPECT_EQ(found.at("style_braces"), 0);
    for (const auto& [element, count] : found.at("elements").items()) {
        EXPECT_THAT((std::vector<std::string>{
                        "html", "head",     "meta",     "title",   "style",  "body",   "section",    "h1",  "h2",
                        "h3",   "p",        "table",    "thead",   "tbody",  "tr",     "th",         "td",  "ul",
                        "li",   "div",      "span",     "strong",  "br",     "figure", "figcaption", "svg", "rect",
                        "g",    "clippath", "polyline", "polygon", "circle", "text"}),
                    Contains(element));
    }
    // foot, pair and tank, whole and close; the coil; two wirings.
    EXPECT_EQ(found.at("elements").at("svg"), 9);
    for (const char* section : {"Response", "Runs", "Uncertainty", "Tuning", "Secondary and tank together", "The coil",
                                "Wiring", "Cautions"}) {
        EXPECT_THAT(found.at("headings").get<std::vector<std::string>>(), Contains(section));
    }
    EXPECT_THAT(found.at("headings")[0].get<std::string>(), HasSubstr("<script>alert(1)</script>"));  // as text
    for (std::string_view caution : bench::general_cautions()) {
        EXPECT_THAT(*html, HasSubstr(std::string(caution.substr(1, 20))));
    }
    for (std::string_view reminder : bench::before_power_reminders()) {
        EXPECT_THAT(*html, HasSubstr(std::string(reminder.substr(1, 20))));
    }
}

TEST(ReportElsewhere, ARejectedRunHasItsReasonAndNoNumber) {
    Report report;
    report.runs.push_back({"bad", "", "", "", "", rejected_result()});
    const auto alone = report_html(report);
    ASSERT_TRUE(alone.ok());
    EXPECT_THAT(*alone, HasSubstr("No resonance"));
    const Json found = read_elsewhere(*alone);
    std::size_t seen = 0;
    for (const auto& row : found.at("rows").get<std::vector<std::vector<std::string>>>()) {
        if (row.empty() || row[0] != "bad") continue;
        ++seen;
        EXPECT_THAT(row, ElementsAre("bad", "foot", "no result", "\u2013", "\u2013", "rejected"));
        for (const std::string& cell : row) EXPECT_FALSE(has_digit(cell)) << cell;
    }
    EXPECT_EQ(seen, 1U);
    EXPECT_THAT(*alone, HasSubstr("is clipped; turn it down"));
    EXPECT_EQ(found.at("elements").at("svg"), 1);  // its wiring; a clipped curve is not drawn
    std::string words = *alone;                    // coordinates of a picture are no statement
    const auto from = words.find("<svg"), to = words.find("</svg>");
    words.erase(from, to - from);
    EXPECT_THAT(words, Not(HasSubstr("43.2")));
    EXPECT_THAT(words, Not(HasSubstr("43210")));
    EXPECT_THAT(*alone, Not(HasSubstr("Uncertainty")));
}

TEST(ReportElsewhere, TheCommandWritesItAndRefusesInOneLine) {
    const testing::ScratchFolder folder;
    folder.put("a.json", measure::to_json(foot_result(62e3), true).dump());
    folder.put("b.json", measure::to_json(rejected_result(), true).dump());
    folder.put("coil.json", R"({"name": "Wren", "secondary": {"diameter": "110mm", "length": "50cm", "turns": 1000,
                               "wire": "0.4mm", "base_height": "15cm"}})");
    const auto at = [&](const char* name) { return (folder / name).string(); };
    const auto said = testing::coldtune(
        {"report", at("a.json"), at("b.json"), "--coil", at("coil.json"), "--out", at("r.html"), "--json"});
    ASSERT_EQ(said.code, 0) << said.err;
    EXPECT_EQ(Json::parse(said.out).at("runs"), 2);
    const std::string html = testing::bytes_of(at("r.html"));
    const Json found = read_elsewhere(html);
    EXPECT_EQ(found.at("headings")[0], "Wren");
    EXPECT_THAT(html, HasSubstr("62.0000 \u00b1 0.0040 kHz"));
    for (const auto& [arguments, code, says] : std::vector<std::tuple<std::vector<std::string>, int, const char*>>{
             {{"report", "--out", at("x.html")}, 2, "SOURCE"},
             {{"report", at("a.json")}, 2, "--out"},
             {{"report", at("gone.json"), "--out", at("x.html")}, 3, "gone.json"},
             {{"report", at("coil.json"), "--out", at("x.html")}, 3, "not a result"},
             {{"report", at("a.json"), "--coil", at("b.json"), "--out", at("x.html")}, 3, "b.json"},
             {{"report", at("a.json"), "--out", at("no/x.html")}, 3, "no"}}) {
        const auto refused = testing::coldtune(arguments);
        EXPECT_EQ(refused.code, code) << refused.err;
        EXPECT_EQ(refused.error_lines(), 1) << refused.err;
        EXPECT_THAT(refused.err, HasSubstr(says));
    }
    EXPECT_FALSE(std::filesystem::exists(at("x.html")));
}

}  // namespace
}  // namespace coldtune::share
