#include "analyzer/record/json_text.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstring>
#include <ctime>
#include <limits>
#include <nlohmann/json.hpp>
#include <random>
#include <sstream>

#include "analyzer/record/plain_text.hpp"
#include "tests/support/comma_locale.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::record {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

std::string text_refusal(std::string_view text, const JsonLimits& limits = {}) {
    const auto json = parse_json(text, "test.json", limits);
    if (json) {
        ADD_FAILURE() << text.substr(0, 80) << " was read";
        return {};
    }
    EXPECT_EQ(json.error().kind, ErrorKind::bad_input);
    EXPECT_THAT(json.error().message, Not(HasSubstr("\n")));
    EXPECT_THAT(json.error().message, ::testing::StartsWith("test.json: "));
    return json.error().message;
}

TEST(JsonText, WritesEveryDoubleSoThatItReadsBackExactly) {
    std::mt19937_64 random(8259);
    for (int round = 0; round < 100000; ++round) {
        const std::uint64_t bits = random();
        double value = 0;
        std::memcpy(&value, &bits, sizeof value);
        if (!std::isfinite(value)) continue;
        const auto back = parse_json(json_text(Json(value)), "random");
        ASSERT_TRUE(back.ok()) << json_text(Json(value));
        ASSERT_EQ(back->get<double>(), value) << json_text(Json(value));
    }
}

TEST(JsonText, WritesTheShortestDigits) {
    EXPECT_EQ(json_text(Json(0.1)), "0.1");
    EXPECT_EQ(json_text(Json(0.1 + 0.2)), "0.30000000000000004");
    EXPECT_EQ(json_text(Json(127430.25)), "127430.25");
    EXPECT_EQ(json_text(Json(26.1e-12)), "2.61e-11");
}

TEST(JsonText, WritesWhatIsNotFiniteAsNull) {
    const Json json = {{"a", std::numeric_limits<double>::quiet_NaN()},
                       {"b", std::numeric_limits<double>::infinity()},
                       {"c", {-std::numeric_limits<double>::infinity(), 1.0}}};
    EXPECT_EQ(json_text(json, -1), R"({"a":null,"b":null,"c":[null,1.0]})");
}

TEST(JsonText, KeepsTheOrderOfKeys) {
    Json json;
    json["schema"] = "coldtune.result.v1";
    json["a"] = 1;
    json["Z"] = 2;
    EXPECT_EQ(json_text(json, -1), R"({"schema":"coldtune.result.v1","a":1,"Z":2})");
    EXPECT_EQ(json_text(*parse_json(R"({"z":1,"a":{"y":2,"b":3}})", "t"), -1), R"({"z":1,"a":{"y":2,"b":3}})");
}

TEST(JsonText, CaresForNoLocale) {
    const testing::CommaLocale comma;
    std::ostringstream proof;
    proof << 1234.5;
    ASSERT_EQ(proof.str(), "1.234,5");  // the locale is in force for whoever asks it
    EXPECT_EQ(json_text(Json{{"f", 1234567.5}, {"n", 1234567}}, -1), R"({"f":1234567.5,"n":1234567})");
    EXPECT_EQ(parse_json("[0.5, 1e3]", "t")->at(0).get<double>(), 0.5);
    EXPECT_THAT(text_refusal("[0,5,]"), HasSubstr("line 1, column 6"));
}

TEST(JsonText, ReplacesBytesThatAreNoText) {
    EXPECT_EQ(json_text(Json("a\xff"), -1), "\"a\uFFFD\"");
    EXPECT_EQ(json_text(Json("\u03A9"), -1, true), "\"\\u03a9\"");
}

TEST(JsonText, SaysWhereTheFaultIs) {
    EXPECT_THAT(text_refusal("{\n  \"a\": 1,\n  \"b\": }\n"), HasSubstr("line 3, column 8: not JSON"));
    EXPECT_THAT(text_refusal("[1, 2"), HasSubstr("line 1, column 6"));
    EXPECT_THAT(text_refusal("{\"\u03A9\": x}"), HasSubstr("line 1, column 7"));  // columns count characters, not bytes
    EXPECT_THAT(text_refusal("[1] 2"), HasSubstr("line 1, column 5"));
    EXPECT_THAT(text_refusal(""), HasSubstr("empty"));
    EXPECT_THAT(text_refusal(" \n\t "), HasSubstr("empty"));
}

TEST(JsonText, ANumberBeyondADoubleIsNamedInOurWords) {
    for (const char* number : {"1e400", "-1e400"}) {
        const auto outcome = parse_json(std::string("{\"a\": ") + number + "}", "x.json");
        ASSERT_FALSE(outcome.ok());
        EXPECT_THAT(outcome.error().message, ::testing::StartsWith("x.json: line 1, column "));
        EXPECT_THAT(outcome.error().message, ::testing::HasSubstr("the number is beyond what a double holds"));
        EXPECT_THAT(outcome.error().message, ::testing::Not(::testing::HasSubstr("exception")));
    }
}

TEST(JsonText, RefusesWhatRfc8259Refuses) {
    for (const char* text : {"NaN",     "[NaN]",   "Infinity", "-Infinity",   "// comment\n1",
                             "/* */1",  "{'a':1}", "{a:1}",    "[1,]",        "{\"a\":1,}",
                             "01",      "+1",      ".5",       "1.",          "0x1",
                             "[1e999]", "\"\t\"",  "\"\xff\"", "\"\\ud800\"", "\"\\x41\"",
                             "nul",     "True",    "[",        "]",           "{",
                             "}",       "\"",      "{\"a\"}",  "[1 2]"}) {
        text_refusal(text);
    }
}

TEST(JsonText, RefusesARepeatedKey) {
    EXPECT_THAT(text_refusal(R"({"turns": 10, "x": {"turns": 1}, "turns": 11})"),
                HasSubstr("line 1, column 40: the key \"turns\" stands twice"));
    EXPECT_TRUE(parse_json(R"([{"a":1},{"a":2}])", "t").ok());
}

TEST(JsonText, BoundsDepthAndSize) {
    const auto nested = [](std::size_t n) { return std::string(n, '[') + std::string(n, ']'); };
    EXPECT_TRUE(parse_json(nested(32), "t").ok());
    EXPECT_THAT(text_refusal(nested(33)), HasSubstr("column 33: more than 32 levels"));
    EXPECT_THAT(text_refusal(std::string(10'000'000, '[')), HasSubstr("more than 32 levels"));
    std::string objects;
    for (int i = 0; i < 100000; ++i) objects += "{\"a\":";
    EXPECT_THAT(text_refusal(objects), HasSubstr("more than 32 levels"));
    EXPECT_THAT(text_refusal("[1,2,3]", {4, 32}), HasSubstr("7 bytes are too many; at most 4"));
}

TEST(JsonText, ManyKeysTakeNoQuadraticTime) {
    std::string text = "{";
    for (int i = 0; i < 200000; ++i) text += (i > 0 ? ",\"k" : "\"k") + std::to_string(i) + "\":1";
    text += '}';
    const std::clock_t start = std::clock();
    const auto json = parse_json(text, "t");
    ASSERT_TRUE(json.ok());
    EXPECT_EQ(json->size(), 200000U);
    // Of this process's own computing, whatever else the machine does: measured 0.1 s; a search of all keys for each
    // would be 2e10 comparisons, minutes.
    EXPECT_LT(std::clock() - start, 10 * CLOCKS_PER_SEC);
}

TEST(JsonText, RandomMutationsAreReadOrRefused) {
    std::mt19937_64 random(20261125);
    const std::string valid = R"({"a":[1,2.5,-3e-7,true,null,"text \u00e4"],"b":{"c":"\n","d":[[],{}]}})";
    std::size_t read = 0;
    for (int round = 0; round < 50000; ++round) {
        std::string text = valid;
        const std::size_t changes = 1 + random() % 3;
        for (std::size_t i = 0; i < changes; ++i) {
            const std::size_t at = random() % text.size();
            switch (random() % 3) {
                case 0:
                    text[at] = static_cast<char>(random() % 256);
                    break;
                case 1:
                    text.erase(at, 1 + random() % 5);
                    break;
                default:
                    text.insert(at, 1, "{}[],:\"0"[random() % 8]);
            }
            if (text.empty()) text = " ";
        }
        const auto json = parse_json(text, "t");
        if (json) {
            ++read;
            EXPECT_EQ(json_text(*parse_json(json_text(*json), "again")), json_text(*json));
        } else {
            EXPECT_THAT(json.error().message, Not(HasSubstr("\n")));
        }
    }
    EXPECT_GT(read, 100U);
}

TEST(JsonText, ReadsFiles) {
    const testing::ScratchFolder folder;
    EXPECT_EQ(read_json(folder.put("ok.json", "\xEF\xBB\xBF{\"a\": 1}"))->at("a").get<int>(), 1);  // byte order mark
    EXPECT_THAT(read_json(folder / "none.json").error().message, HasSubstr("none.json: there is no such file"));
    EXPECT_THAT(read_json(folder.path()).error().message, HasSubstr("is a folder"));
    EXPECT_THAT(read_json(folder.put("empty.json", "")).error().message, HasSubstr("empty.json: empty"));
    EXPECT_THAT(read_json(folder.put("long.json", std::string(100, ' ')), {99, 32}).error().message,
                HasSubstr("longer than 99 bytes"));
    EXPECT_THAT(read_text("/dev/zero", 1000).error().message, HasSubstr("longer than 1000 bytes"));
    // A name that would move the cursor is shown harmless.
    EXPECT_THAT(read_json(folder / "a\nb\x1b[2J").error().message, HasSubstr("a?b?[2J: there is no such file"));
}

// ObjectReader

constexpr const char* sample = R"({
    "length": "52cm", "turns": 1180, "ground": false, "count": 3, "name": "coil", "none": null,
    "inner": {"x": 1, "list": [{"k": 1}, {"k": 2}]},
    "shapes": [{"shape": "round", "r": 1}, {"shape": "square", "a": 2}]
})";

TEST(ObjectReader, ReadsFields) {
    const auto json = parse_json(sample, "s.json");
    ObjectReader root(*json, "s.json", {"length", "turns", "ground", "count", "name", "none", "inner", "shapes"});
    EXPECT_EQ(root.quantity("length", Unit::metre), 0.52);
    EXPECT_EQ(root.quantity("turns", Unit::turn), 1180.0);
    EXPECT_FALSE(root.boolean_or("ground", true));
    EXPECT_TRUE(root.boolean_or("absent", true));
    EXPECT_EQ(root.integer("count", 0, 5), 3);
    EXPECT_EQ(root.text("name"), "coil");
    EXPECT_EQ(root.text_or("none", "otherwise"), "otherwise");
    EXPECT_FALSE(root.has("none"));
    EXPECT_FALSE(root.optional_quantity("none", Unit::ohm).has_value());
    EXPECT_FALSE(root.object("none", {}).has_value());
    EXPECT_TRUE(root.objects("none", {}).empty());
    auto inner = root.object("inner", {"x", "list"});
    ASSERT_TRUE(inner.has_value());
    auto list = inner->objects("list", {"k"});
    ASSERT_EQ(list.size(), 2U);
    EXPECT_EQ(list[1].integer("k", 0, 9), 2);
    auto shapes = root.objects_of_kinds("shapes", "shape", {{"round", {"r"}}, {"square", {"a"}}});
    ASSERT_EQ(shapes.size(), 2U);
    EXPECT_EQ(shapes[1].quantity("a", Unit::metre), 2.0);
    EXPECT_FALSE(root.error().has_value());
    // One object may stand without its array.
    EXPECT_EQ(root.objects("inner", {"x", "list"}).size(), 1U);
}

// The message after reading `text` with `read`.
template <typename Read>
std::string fault(std::string_view text, std::initializer_list<std::string_view> allowed, Read read) {
    const auto json = parse_json(text, "f.json");
    EXPECT_TRUE(json.ok());
    ObjectReader root(*json, "f.json", allowed);
    read(root);
    return root.error() ? root.error()->message : "";
}

TEST(ObjectReader, NamesTheUnknownKeyAndTheNearestKnown) {
    const auto nothing = [](ObjectReader&) {};
    EXPECT_EQ(fault(R"({"lenght": 1})", {"length", "turns"}, nothing),
              "f.json: lenght: unknown key; did you mean \"length\"?");
    EXPECT_EQ(fault(R"({"colour": 1})", {"length", "turns"}, nothing),
              "f.json: colour: unknown key; known here: length, turns");
    EXPECT_EQ(fault(R"({"inner": {"trns": 1}})", {"inner"}, [](ObjectReader& r) { r.object("inner", {"turns"}); }),
              "f.json: inner.trns: unknown key; did you mean \"turns\"?");
    EXPECT_EQ(fault(R"({"list": [{"k": 1}, {"q": 1}]})", {"list"}, [](ObjectReader& r) { r.objects("list", {"k"}); }),
              "f.json: list[1].q: unknown key; did you mean \"k\"?");
}

TEST(ObjectReader, SaysWhatWasExpected) {
    const auto with = [](std::string_view text, auto read) { return fault(text, {"v"}, read); };
    EXPECT_EQ(with("{}", [](ObjectReader& r) { r.quantity("v", Unit::ohm); }), "f.json: v: missing; add it");
    EXPECT_EQ(with(R"({"v": "10kk"})", [](ObjectReader& r) { r.quantity("v", Unit::ohm); }),
              "f.json: v: \"10kk\": unexpected 'k' at character 4; write a resistance like 10k, 4k7 or 4700 ohm");
    EXPECT_THAT(with(R"({"v": true})", [](ObjectReader& r) { r.quantity("v", Unit::ohm); }),
                HasSubstr("a quantity is expected (a text or an SI number), not true or false"));
    EXPECT_THAT(with(R"({"v": [1]})", [](ObjectReader& r) { r.optional_quantity("v", Unit::ohm); }),
                HasSubstr("not an array"));
    EXPECT_THAT(with(R"({"v": 1})", [](ObjectReader& r) { r.text("v"); }),
                HasSubstr("a text is expected, not a number"));
    EXPECT_THAT(with(R"({"v": "abc"})", [](ObjectReader& r) { r.text("v", 2); }), HasSubstr("too long (3 bytes"));
    EXPECT_THAT(with(R"({"v": "a\u001bb"})", [](ObjectReader& r) { r.text("v"); }), HasSubstr("control characters"));
    EXPECT_THAT(with(R"({"v": "yes"})", [](ObjectReader& r) { r.boolean_or("v", true); }),
                HasSubstr("true or false is expected, not a text"));
    EXPECT_THAT(with(R"({"v": [1]})", [](ObjectReader& r) { r.objects("v", {}); }),
                HasSubstr("f.json: v[0]: an object {...} is expected, not a number"));
    for (const char* text :
         {R"({"v": 1.5})", R"({"v": 6})", R"({"v": -1})", R"({"v": 18446744073709551615})", R"({"v": "3"})"}) {
        EXPECT_THAT(with(text, [](ObjectReader& r) { r.integer("v", 0, 5); }),
                    HasSubstr("a whole number from 0 to 5 is expected"))
            << text;
    }
    const auto kinds = [](ObjectReader& r) { r.objects_of_kinds("v", "shape", {{"round", {"r"}}, {"square", {"a"}}}); };
    EXPECT_EQ(with(R"({"v": {"shape": "cube"}})", kinds), "f.json: v.shape: \"cube\" is unknown; known: round, square");
    EXPECT_EQ(with(R"({"v": {"r": 1}})", kinds), "f.json: v.shape: missing; add it");
    EXPECT_EQ(with(R"({"v": [{"shape": "round", "a": 1}]})", kinds),
              "f.json: v[0].a: unknown key; did you mean \"r\"?");
    EXPECT_THAT(with(R"({"v": 3})", kinds), HasSubstr("f.json: v: an object {...} is expected, not a number"));
    EXPECT_EQ(fault("[1]", {"v"}, [](ObjectReader&) {}), "f.json: an object {...} is expected, not an array");
}

TEST(ObjectReader, KeepsTheFirstFaultAndStaysHarmless) {
    const auto json = parse_json(R"({"a": "x", "b": "y"})", "f.json");
    ObjectReader root(*json, "f.json", {"a", "b"});
    EXPECT_EQ(root.quantity("a", Unit::ohm), 0.0);
    EXPECT_EQ(root.quantity("b", Unit::ohm), 0.0);
    EXPECT_EQ(root.integer("b", 2, 5), 2);
    ASSERT_TRUE(root.error().has_value());
    EXPECT_THAT(root.error()->message, HasSubstr("f.json: a: \"x\""));
}

// plain_text.hpp

TEST(PlainText, DecodesUtf8AndReplacesWhatIsNot) {
    // Ill-formed sequences of RFC 3629: overlong, surrogate, beyond U+10FFFF, cut short, stray continuation.
    EXPECT_EQ(decode_utf8("a\u00B5\u03A9\U0001F600"), U"a\u00B5\u03A9\U0001F600");
    for (const char* bad :
         {"\xC0\x80", "\xE0\x80\x80", "\xED\xA0\x80", "\xF4\x90\x80\x80", "\xE2\x84", "\x80", "\xFF"}) {
        const std::u32string points = decode_utf8(bad);
        EXPECT_EQ(points, std::u32string(std::strlen(bad), U'\uFFFD'));
    }
    std::mt19937_64 random(3629);
    for (int round = 0; round < 20000; ++round) {
        std::u32string points;
        for (std::size_t i = 0; i < 5; ++i) {
            char32_t c = static_cast<char32_t>(random() % 0x110000);
            if (c >= 0xD800 && c <= 0xDFFF) c = U'x';
            points.push_back(c);
        }
        ASSERT_EQ(decode_utf8(encode_utf8(points)), points);
    }
}

TEST(PlainText, SuggestsOnlySlips) {
    static constexpr std::array<std::string_view, 4> keys = {"diameter", "length", "turns", "wire"};
    EXPECT_EQ(nearest_of("diamter", keys), "diameter");
    EXPECT_EQ(nearest_of("lentgh", keys), "length");
    EXPECT_EQ(nearest_of("turn", keys), "turns");
    EXPECT_EQ(nearest_of("wirre", keys), "wire");
    EXPECT_EQ(nearest_of("capacitance", keys), std::nullopt);
    EXPECT_EQ(nearest_of("", keys), std::nullopt);
    EXPECT_EQ(nearest_of(std::string(1000000, 'w'), keys), std::nullopt);
}

}  // namespace
}  // namespace coldtune::record
