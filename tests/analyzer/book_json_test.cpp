// The book as text: what goes in comes out.
#include "analyzer/book/book_json.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "tests/support/comma_locale.hpp"
#include "tests/support/example_book.hpp"

namespace coldtune::book {
namespace {

using ::testing::HasSubstr;

Book parsed(const std::string& text) {
    auto outcome = parse_book(text, "book.json");
    if (auto* fault = std::get_if<NoBook>(&outcome)) ADD_FAILURE() << fault->sentence;
    return std::get_if<Book>(&outcome) != nullptr ? std::get<Book>(std::move(outcome)) : Book{};
}

Book full_book() {
    Book b = test::example_book(3);
    book::Run& run = b.runs[1];
    b.captures.push_back({{"0004-open.wav", std::string(64, 'd'), 10}, "open", 44100.5, 64, "", "", "", ""});
    run.standards = {"0004-open.wav", "0004-open.wav", "0004-open.wav", ""};
    run.settings.load_ohm = 9.99e3;
    run.settings.period_frames = 64000;
    run.settings.settle_periods = 0;
    run.settings.tolerances = {0.1, 0.2, 0.3, 0.4, 0.05, 0.6, 0.7e-6, 8};
    run.name = "k\u00e4ltere Spule \"2\"";
    b.runs[2].response.reset();
    b.runs[2].coil = 0;
    b.runs[2].notes.clear();
    return b;
}

TEST(BookText, ComesBackAsItWentOut) {
    const Book b = full_book();
    const std::string text = book_text(b);
    const Book back = parsed(text);
    EXPECT_EQ(book_text(back), text);
    ASSERT_EQ(back.runs.size(), 3U);
    const book::Run& run = back.runs[1];
    EXPECT_EQ(run.name, b.runs[1].name);
    EXPECT_EQ(run.standards.load, "0004-open.wav");
    EXPECT_EQ(run.settings.settle_periods, std::optional<std::size_t>(0));
    EXPECT_EQ(run.settings.tolerances.clock_ppm, 8);
    EXPECT_EQ(run.settings.tolerances.lead_inductance_h, 0.7e-6);
    EXPECT_EQ(*run.result, *b.runs[1].result);
    EXPECT_EQ(run.response->impedance_imaginary_ohm, b.runs[1].response->impedance_imaginary_ohm);
    EXPECT_FALSE(back.runs[2].response.has_value());
    EXPECT_EQ(back.captures[3].sample_rate_hz, 44100.5);
    EXPECT_EQ(back.find_run(3)->number, 3);
    EXPECT_EQ(back.find_run(4), nullptr);
}

TEST(BookText, KeepsEveryRunOnALineOfItsOwn) {
    const std::string one = book_text(test::example_book(1)), two = book_text(test::example_book(2));
    // A capture and a run more, nothing else: so that two saves compare line by line.
    EXPECT_EQ(std::count(two.begin(), two.end(), '\n'), std::count(one.begin(), one.end(), '\n') + 2);
    EXPECT_EQ(two.substr(0, 200), one.substr(0, 200).replace(one.find("last_run_number\": 1") + 18, 1, "2"));
}

TEST(BookText, IsTheSameInALocaleWithCommas) {
    const Book b = full_book();
    const std::string before = book_text(b);
    const testing::CommaLocale locale;
    EXPECT_EQ(book_text(b), before);
    EXPECT_EQ(book_text(parsed(before)), before);
}

TEST(BookText, AnEmptyBookAndOneOfTwoThousandRunsComeBack) {
    const Book empty = test::example_book(0);
    EXPECT_EQ(parsed(book_text(empty)).runs.size(), 0U);
    const Book big = test::example_book(2000);
    const std::string text = book_text(big);
    EXPECT_LT(text.size(), longest_book_bytes);
    const Book back = parsed(text);
    ASSERT_EQ(back.runs.size(), 2000U);
    EXPECT_EQ(back.runs[1999].name, "foot 2000");
    EXPECT_EQ(*back.runs[1234].result, *big.runs[1234].result);
    EXPECT_EQ(back.captures.size(), 2000U);
}

TEST(BookText, ARunIsFoundByNumberOrByName) {
    Book b = test::example_book(3);
    const auto number_of = [&](std::string_view text) {
        const auto run = choose_run(b, text);
        return run ? std::to_string((*run)->number) : run.error().message;
    };
    EXPECT_EQ(number_of("2"), "2");
    EXPECT_EQ(number_of("foot 3"), "3");
    EXPECT_THAT(number_of("4"), HasSubstr("there is no run \"4\"; numbers go from 1 to 3"));
    b.runs[0].name = "foot 3";
    EXPECT_THAT(number_of("foot 3"), HasSubstr("runs 1 and 3 are both called \"foot 3\"; say the number"));
    b.runs.clear();
    EXPECT_THAT(number_of("1"), HasSubstr("no runs yet"));
}

}  // namespace
}  // namespace coldtune::book
