// A book from a stranger: refused with the damaged part named, never believed.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/places.hpp"
#include "tests/support/example_book.hpp"

namespace coldtune::book {
namespace {

using record::Json;
using ::testing::HasSubstr;
using ::testing::Not;

struct Refused {
    NoBook::Why why;
    std::string sentence;
};

Refused refusal(const std::string& text) {
    const auto outcome = parse_book(text, "book.json");
    const auto* fault = std::get_if<NoBook>(&outcome);
    if (fault == nullptr) return {NoBook::Why::damaged, "it was taken"};
    EXPECT_THAT(fault->sentence, Not(HasSubstr("\n")));
    EXPECT_LT(fault->sentence.size(), 800U);
    return {fault->why, fault->sentence};
}

const std::string& sound_text() {
    static const std::string text = book_text(test::example_book(3));
    return text;
}

// The sound book with one thing changed.
template <typename Change>
std::string after(Change change) {
    Json json = Json::parse(sound_text());
    change(json);
    return refusal(json.dump()).sentence;
}

TEST(HostileBook, TheSoundOneIsTaken) {
    EXPECT_EQ(after([](Json&) {}), "it was taken");
}

TEST(HostileBook, FileNamesThatLeadAnywhereElseAreRefused) {
    for (const char* name : {"../secret.wav", "/etc/passwd", "a/b.wav", "..", ".", ".hidden.wav", "a\\b.wav", "a b.wav",
                             "", "a\tb.wav", "\u202efoo.wav", "~root.wav"}) {
        EXPECT_FALSE(is_plain_file_name(name)) << name;
        EXPECT_THAT(after([&](Json& j) { j["captures"][1]["file"] = name; }), HasSubstr("captures[1].file: ")) << name;
        EXPECT_THAT(after([&](Json& j) { j["runs"][1]["result_file"]["file"] = name; }),
                    HasSubstr("runs[1].result_file.file: "))
            << name;
    }
    EXPECT_FALSE(is_plain_file_name(std::string(121, 'a')));
    EXPECT_TRUE(is_plain_file_name("0001-foot.flac"));
}

TEST(HostileBook, EveryWrongPlaceIsNamed) {
    using J = Json&;
    EXPECT_THAT(after([](J j) { j["captures"][2]["sha256"] = "12"; }), HasSubstr("captures[2].sha256: a SHA-256"));
    EXPECT_THAT(after([](J j) { j["captures"][2]["bytes"] = 1e30; }), HasSubstr("captures[2].bytes: "));
    EXPECT_THAT(after([](J j) { j["captures"][2]["bytes"] = -1; }), HasSubstr("captures[2].bytes: "));
    EXPECT_THAT(after([](J j) { j["captures"][0]["frames"] = 18446744073709551615ULL; }),
                HasSubstr("captures[0].frames"));
    EXPECT_THAT(after([](J j) { j["captures"][1]["file"] = "0001-foot.flac"; }), HasSubstr("stands twice"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["capture"] = "0009-foot.flac"; }), HasSubstr("not among the captures"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["result_file"]["file"] = "0001-foot.flac"; }), HasSubstr("stands twice"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["number"] = 1; }), HasSubstr("runs[1].number: must rise"));
    EXPECT_THAT(after([](J j) { j["runs"][2]["number"] = 4; }), HasSubstr("runs[2].number: is above last_run_number"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["coil"] = 2; }), HasSubstr("runs[1].coil: there is no such"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["interface"] = 7; }), HasSubstr("runs[1].interface: there is no such"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["hookup"] = "moon"; }),
                HasSubstr("runs[1].hookup: \"moon\" is no hookup"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["hookup"] = "tank"; }), HasSubstr("hookup is another than the run's"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["settings"]["reference_ohm"] = 0; }),
                HasSubstr("runs[1].settings.reference_ohm: a number from 1 to 10000000"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["settings"]["reference_ohm"] = "10k"; }), HasSubstr("reference_ohm"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["settings"]["tolerances"].erase("clock_ppm"); }),
                HasSubstr("runs[1].settings.tolerances.clock_ppm: missing"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["settings"]["period_frames"] = 1ULL << 40U; }),
                HasSubstr("period_frames"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["standards"]["load"] = "0001-foot.flac"; }),
                HasSubstr("load_ohm: missing"));
    EXPECT_THAT(after([](J j) { j["runs"][1]["time_utc"] = "yesterday"; }), HasSubstr("runs[1].time_utc: a time like"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["notes"][0]["text"] = "a\x1b[2J"; }), HasSubstr("control characters"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["notes"][0]["text"] = std::string(9000, 'x'); }), HasSubstr("too long"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["name"] = "a\nb"; }), HasSubstr("runs[0].name: the text holds control"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["result"]["schema"] = "other"; }), HasSubstr("runs[0].result: a result"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["result"]["verdict"] = 3; }), HasSubstr("its verdict"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["result"]["verdict"] = "rejected"; }), HasSubstr("has no resonance"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["result"] = Json::array(); }), HasSubstr("runs[0].result"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["response"]["frequency_hz"][3] = 1.0; }), HasSubstr("that rise"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["response"]["standard_deviation_ohm"].erase(0); }),
                HasSubstr("one length"));
    EXPECT_THAT(after([](J j) { j["runs"][0]["response"]["bins"] = 1e12; }), HasSubstr("response.bins"));
    EXPECT_THAT(after([](J j) { j["coils"][0]["description"]["secondary"]["turns"] = -5; }),
                HasSubstr("coils[0].description: "));
    EXPECT_THAT(after([](J j) { j["coils"][0]["number"] = 2; }), HasSubstr("coils[0].number: 1 is expected"));
    EXPECT_THAT(after([](J j) { j["runs"] = 5; }), HasSubstr("runs: an array is expected"));
    EXPECT_THAT(after([](J j) { j["captures"] = Json::object(); }), HasSubstr("captures: an array is expected"));
    EXPECT_THAT(after([](J j) { j["surprise"] = 1; }), HasSubstr("surprise: unknown key"));
    EXPECT_THAT(after([](J j) { j["runs"][2]["nots"] = 1; }), HasSubstr("did you mean \"notes\"?"));
    EXPECT_THAT(after([](J j) { j["save_number"] = 0; }), HasSubstr("save_number"));
}

TEST(HostileBook, OutlinesBeyondTheirSizeAreRefused) {
    EXPECT_THAT(after([](Json& j) {
                    Json& response = j["runs"][0]["response"];
                    for (auto* key :
                         {"frequency_hz", "impedance_real_ohm", "impedance_imaginary_ohm", "standard_deviation_ohm"}) {
                        for (int i = 0; i < 1000; ++i) response[key].push_back(1e6 + i);
                    }
                }),
                HasSubstr("frequency_hz: four arrays of one length from 1 to 96"));
}

TEST(HostileBook, HugeCountsAreRefusedBeforeTheyCostAnything) {
    EXPECT_THAT(after([](Json& j) {
                    for (int i = 0; i < 100'000; ++i) j["runs"].push_back(0);
                }),
                HasSubstr("runs: 100003 entries are too many"));
    EXPECT_THAT(after([](Json& j) {
                    for (int i = 0; i < 100'000; ++i) j["coils"].push_back(nullptr);
                }),
                HasSubstr("coils: 100001 entries are too many"));
}

TEST(HostileBook, TextThatIsNoJsonIsRefusedWithItsPlace) {
    EXPECT_THAT(refusal("").sentence, HasSubstr("empty"));
    EXPECT_THAT(refusal(std::string(4096, '\0')).sentence, HasSubstr("not JSON"));
    std::string deep = R"({"schema": "coldtune.book.v1", "runs": )";
    for (int i = 0; i < 100000; ++i) deep += '[';
    EXPECT_THAT(refusal(deep).sentence, HasSubstr("levels of nesting"));
    EXPECT_THAT(refusal(R"({"schema": "coldtune.book.v1", "schema": "x"})").sentence, HasSubstr("stands twice"));
    std::string many = R"({"schema": "coldtune.book.v1", "runs": [)";
    for (std::size_t i = 0; i <= most_book_values; ++i) many += "0,";
    EXPECT_THAT(refusal(many + "0]}").sentence, HasSubstr("more than 8388608 values"));
    std::string bytes = sound_text();
    bytes[bytes.find("made up")] = '\xff';
    EXPECT_THAT(refusal(bytes).sentence, HasSubstr("UTF-8"));
    EXPECT_THAT(refusal(std::string(longest_book_bytes + 1, ' ')).sentence, HasSubstr("too many"));
    // Cut anywhere it is damaged, never half taken and never taken for another kind of file.
    for (std::size_t length = 1; length < sound_text().size() - 2; length += 997) {
        const Refused cut = refusal(sound_text().substr(0, length));
        EXPECT_NE(cut.sentence, "it was taken") << length;
        EXPECT_EQ(cut.why, NoBook::Why::damaged) << length;
    }
}

TEST(HostileBook, OtherFilesAndLaterVersionsAreLeftAlone) {
    const Refused later = refusal(R"({"schema": "coldtune.book.v2", "shape": "unknown"})");
    EXPECT_EQ(later.why, NoBook::Why::foreign);
    EXPECT_THAT(later.sentence, HasSubstr("later version of the program (book format 2, this one reads 1)"));
    for (const char* other : {R"({"schema": "coldtune.result.v1"})", "{}", "[]", "3", R"({"schema": 7})",
                              R"({"schema": "coldtune.book.v0"})", R"({"schema": "coldtune.book.vx"})",
                              R"({"schema": "coldtune.book.v99999999999999999999"})"}) {
        const Refused refused = refusal(other);
        EXPECT_EQ(refused.why, NoBook::Why::foreign) << other;
        EXPECT_THAT(refused.sentence, HasSubstr("is no bench book")) << other;
    }
}

}  // namespace
}  // namespace coldtune::book
