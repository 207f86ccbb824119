// What the window says, and how its lines are broken.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>

#include "gui/coil_words.hpp"
#include "gui/panels.hpp"
#include "gui/wrapped_text.hpp"

namespace coldtune::gui {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

// Every character one wide, a UTF-8 one too.
float columns(std::string_view text) {
    float n = 0;
    for (char c : text) n += (static_cast<unsigned char>(c) & 0xC0) != 0x80 ? 1.0F : 0.0F;
    return n;
}

std::string broken(std::string_view text, float width) {
    return wrapped(text, width, columns);
}

TEST(WrappedText, BreaksBetweenWordsAndNowhereElse) {
    EXPECT_EQ(broken("one two three", 40), "one two three");
    EXPECT_EQ(broken("one two three", 8), "one two\nthree");
    EXPECT_EQ(broken("one two\nthree", 40), "one two\nthree");
    EXPECT_EQ(broken("", 5), "");
    EXPECT_EQ(broken("abcdefgh", 3), "abc\ndef\ngh") << "a word wider than the line";
    EXPECT_EQ(broken("\u00b5\u00b5\u00b5\u00b5", 2), "\u00b5\u00b5\n\u00b5\u00b5") << "no character is cut in two";
}

TEST(WrappedText, KeepsAFigureWholeAndWithItsUnit) {
    EXPECT_EQ(broken("side by side need 1.012 m, there", 21), "side by side need\n1.012 m, there");
    for (float width = 12; width < 70; ++width) {
        const std::string lines =
            broken("turns need 1.012 m, the resonance is 64.228 \u00b1 0.004 kHz and 3 % off at 20 \u00b0C", width);
        EXPECT_THAT(lines, HasSubstr("1.012 m")) << width;
        EXPECT_THAT(lines, HasSubstr("3 %")) << width;
        EXPECT_THAT(lines, HasSubstr("20 \u00b0C")) << width;
        if (width >= 18) {
            EXPECT_THAT(lines, HasSubstr("64.228 \u00b1 0.004 kHz")) << width;
        }
        std::stringstream each(lines);
        for (std::string line; std::getline(each, line);) EXPECT_LE(columns(line), width) << line;
    }
}

TEST(WrappedText, OneLineEndsInAnEllipsisWhereItIsCut) {
    EXPECT_EQ(on_one_line("short", 10, columns), "short");
    EXPECT_EQ(on_one_line("rather longer", 8, columns), "rather\u2026");
    EXPECT_EQ(on_one_line("a\nb", 10, columns), "a b");
    EXPECT_LE(columns(on_one_line("\u00b5\u00b5\u00b5\u00b5\u00b5", 3, columns)), 3);
}

std::map<std::string, std::string, std::less<>> complaints_of(std::map<std::string, std::string> changes,
                                                              std::size_t bodies = 1) {
    CoilForm form = first_form();
    form.has[CoilPart::primary] = form.has[CoilPart::tank] = form.has[CoilPart::strike_ring] = true;
    form.has[CoilPart::wall] = form.has[CoilPart::ceiling] = true;
    for (std::size_t k = 1; k < bodies; ++k) add_topload(form, "sphere");
    for (auto& [key, text] : changes) form.text[key] = text;
    return read(form).complaints;
}

TEST(CoilWords, ACheckOfTheWholeComplainsAtItsField) {
    const auto wire = complaints_of({{"secondary.wire", "AWG 26"}});
    ASSERT_EQ(wire.size(), 1U);
    ASSERT_TRUE(wire.contains("secondary.wire"));
    // ASTM B258: AWG 26 is 0.4049 mm; 750 mm over 2500 turns is 0.3 mm.
    EXPECT_THAT(
        wire.find("secondary.wire")->second,
        ::testing::StartsWith("0.4049 mm, thicker than the pitch of 0.3 mm that Winding length and Turns leave"));
    const auto length = complaints_of({{"secondary.length", "50m"}});
    ASSERT_TRUE(length.contains("secondary.length"));
    EXPECT_EQ(length.find("secondary.length")->second, "50 m; it must lie between 1 mm and 20 m");
    EXPECT_TRUE(complaints_of({{"tank.lead_inductance", "9.5"}}).contains("tank.lead_inductance"));
    EXPECT_TRUE(complaints_of({{"topload.1.height", "-300mm"}}, 2).contains("topload.1.height"));
}

// Whatever is refused, the sentence names fields as the form does, and a field has the red edge.
TEST(CoilWords, NoKeyOfTheFileIsEverSaid) {
    const std::vector<std::map<std::string, std::string>> wrong = {
        {{"secondary.diameter", "0"}},
        {{"secondary.wire", "2m"}},
        {{"secondary.length", "900m"}},
        {{"secondary.turns", "3"}},
        {{"secondary.temperature", "900"}},
        {{"topload.0.tube_diameter", "300mm"}},
        {{"topload.0.tube_diameter", "590mm"}},
        {{"topload.0.height", "-950mm"}},
        {{"topload.0.outer_diameter", "500m"}},
        {{"surroundings.strike_ring.diameter", "160mm"}},
        {{"surroundings.strike_ring.height", "1mm"}},
        {{"surroundings.strike_ring.tube_diameter", "500mm"}},
        {{"surroundings.wall_radius", "100mm"}},
        {{"surroundings.ceiling_height", "500mm"}},
        {{"primary.conductor", "30mm"}},
        {{"primary.base_height", "200mm"}, {"primary.inner_diameter", "150mm"}},
        {{"primary.base_height", "1mm"}},
        {{"primary.angle", "100"}},
        {{"tank.capacitance", "5"}},
        {{"tank.tap_turns", "40"}},
        {{"tolerances.diameter", "-1mm"}},
        {{"tolerances.topload", "200%"}},
        {{"tolerances.turns", "2400"}},
    };
    const std::regex key("(secondary|topload|surroundings|primary|tank|tolerances)[.\\[]|strike_ring|_");
    for (const auto& changes : wrong) {
        const auto complaints = complaints_of(changes);
        const std::string what = changes.begin()->first + " " + changes.begin()->second;
        ASSERT_EQ(complaints.size(), 1U) << what;
        const auto& [field, text] = *complaints.begin();
        EXPECT_NE(find_field(field), nullptr) << what << ": " << text;
        EXPECT_FALSE(std::regex_search(text, key)) << what << ": " << text;
        EXPECT_THAT(text, Not(HasSubstr("the description:"))) << what;
    }
}

TEST(CoilWords, TheLinesSayWhichFieldAndComeInItsOrder) {
    CoilForm form = first_form();
    form.has[CoilPart::tank] = form.has[CoilPart::primary] = true;
    form.text["tank.capacitance"] = "much";
    form.text["secondary.turns"] = "many";
    form.text["topload.0.height"] = "";
    const auto lines = complaint_lines(form, read(form));
    ASSERT_EQ(lines.size(), 3U);
    EXPECT_THAT(lines[0].text, ::testing::StartsWith("Turns of the winding: \"many\""));
    EXPECT_EQ(lines[1].text, "Height above winding of the top load: still empty");
    EXPECT_THAT(lines[2].text, ::testing::StartsWith("Capacitor of the tank: "));
    EXPECT_EQ(lines[2].key, "tank.capacitance");
}

TEST(Words, NothingIsNotLessThanNothing) {
    EXPECT_EQ(signed_fixed(-0.0004, 2), "0.00");
    EXPECT_EQ(signed_fixed(0, 2), "0.00");
    EXPECT_EQ(signed_fixed(-0.006, 2), "-0.01");
    EXPECT_EQ(signed_fixed(1.25, 1), "+1.2");
    EXPECT_EQ(record::format_with_uncertainty(-0.02, 5.4, record::Unit::hertz, true), "0.0 \u00b1 5.4 Hz");
}

// String literals of a source file, neighbours joined.
std::vector<std::string> literals_of(const std::filesystem::path& path) {
    std::ifstream file(path);
    std::stringstream text;
    text << file.rdbuf();
    const std::string source = text.str();
    static const std::regex kLiteral("\"(?:[^\"\\\\\\n]|\\\\.)*\"(?:\\s*\"(?:[^\"\\\\\\n]|\\\\.)*\")*");
    std::vector<std::string> all;
    for (std::sregex_iterator at(source.begin(), source.end(), kLiteral), end; at != end; ++at) {
        all.push_back(std::regex_replace(at->str(), std::regex("\"\\s*\"|^\"|\"$"), ""));
    }
    return all;
}

// Options of the command line mean nothing to a reader of the window: what the analyzer says of a measurement has words
// of the window for them. What only the command line can come to is listed here with its reason.
TEST(Words, WhatIsMeasuredIsToldWithoutOptionsOfTheCommandLine) {
    const std::vector<std::string_view> never_here = {
        "analyze --json",                                        // files given to a command
        "analyze --hookup",                                      // the same
        "combine --json",   "give --coil COIL.json so that an",  // of the command combine
        "--one-input",                                           // the window measures with two
        "loading series",                                        // of the command loading
    };
    const std::regex option("(^|[ (])--[a-z]");
    std::size_t seen = 0;
    for (const char* part : {"measure", "tuning"}) {
        for (const auto& entry :
             std::filesystem::directory_iterator(std::filesystem::path(COLDTUNE_SOURCE_DIR) / "analyzer" / part)) {
            if (entry.path().extension() != ".cpp") continue;
            for (const std::string& text : literals_of(entry.path())) {
                if (!std::regex_search(text, option)) continue;
                ++seen;
                const bool excused = std::any_of(never_here.begin(), never_here.end(), [&](std::string_view words) {
                    return text.find(words) != std::string::npos;
                });
                if (!excused) {
                    EXPECT_FALSE(std::regex_search(window_words(text), option))
                        << entry.path().filename() << ": " << text;
                }
            }
        }
    }
    EXPECT_GT(seen, 4U) << "the sources were not found";
}

}  // namespace
}  // namespace coldtune::gui
