// Letter codes of IEC 60062 (edition 2016 with amendment 1, 2019). The resistor examples were read in a secondary copy
// (an encyclopedia's article on the code), the capacitor examples are from memory.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <string>
#include <vector>

#include "analyzer/record/preferred_values.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::record {
namespace {

struct Example {
    const char* code;
    double value;
};

void expect_read(const std::string& code, Unit unit, double value) {
    const auto read = parse_quantity(code, unit);
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_EQ(*read, value) << code;  // the same decimal number, rounded once: exact
}

TEST(Iec60062, ResistorExamples) {
    for (const Example& example : {Example{"R47", 0.47},
                                   {"4R7", 4.7},
                                   {"470R", 470},
                                   {"4K7", 4700},
                                   {"47K", 47e3},
                                   {"47K3", 47.3e3},
                                   {"470K", 470e3},
                                   {"4M7", 4.7e6}}) {
        expect_read(example.code, Unit::ohm, example.value);
    }
}

TEST(Iec60062, CapacitorExamples) {
    for (const Example& example : {Example{"p33", 0.33e-12},
                                   {"3p3", 3.3e-12},
                                   {"33p", 33e-12},
                                   {"330p", 330e-12},
                                   {"n33", 330e-12},
                                   {"3n3", 3.3e-9},
                                   {"4n7", 4.7e-9},
                                   {"33n", 33e-9},
                                   {"330n", 330e-9},
                                   {"u33", 330e-9},
                                   {"\u00B533", 330e-9},
                                   {"\u03BC33", 330e-9},
                                   {"3\u00B53", 3.3e-6},
                                   {"m33", 330e-6},
                                   {"3m3", 3.3e-3},
                                   {"3F3", 3.3}}) {
        expect_read(example.code, Unit::farad, example.value);
    }
}

// All forms of digits * 10^power with one of these letters for the decimal point, trailing zeros written and left out.
// The value comes from the C library's conversion of the decimal text.
std::size_t expect_every_form(int number, int power, const std::vector<std::pair<std::string, int>>& letters,
                              Unit unit) {
    const std::string digits = std::to_string(number);
    const double value = std::strtod((digits + "e" + std::to_string(power)).c_str(), nullptr);
    std::size_t forms = 0;
    for (const auto& [letter, exponent] : letters) {
        const int before = static_cast<int>(digits.size()) + power - exponent;  // digits in front of the letter
        if (before < 0 || before > static_cast<int>(digits.size())) continue;
        const std::string whole = digits.substr(0, static_cast<std::size_t>(before));
        std::string rest = digits.substr(static_cast<std::size_t>(before));
        expect_read(whole + letter + rest, unit, value);
        ++forms;
        while (!rest.empty() && rest.back() == '0') rest.pop_back();
        if (whole.empty() && rest.empty()) continue;
        expect_read(whole + letter + rest, unit, value);
    }
    return forms;
}

TEST(Iec60062, EveryPreferredValueInEveryDecade) {
    std::size_t forms = 0;
    for (const Series series : {Series::e12, Series::e24, Series::e96}) {
        for (const int number : decade(series)) {
            for (int power = -4; power <= 8; ++power) {
                forms +=
                    expect_every_form(number, power, {{"R", 0}, {"K", 3}, {"k", 3}, {"M", 6}, {"G", 9}}, Unit::ohm);
            }
            for (int power = -15; power <= 0; ++power) {
                forms += expect_every_form(
                    number, power,
                    {{"p", -12}, {"n", -9}, {"u", -6}, {"\u00B5", -6}, {"\u03BC", -6}, {"m", -3}, {"F", 0}},
                    Unit::farad);
            }
        }
    }
    EXPECT_GT(forms, 5000U);
}

}  // namespace
}  // namespace coldtune::record
