// Preferred numbers of IEC 60063. E12 and E24 as read in a secondary copy of the standard's lists; E96 by its rule,
// 83 of the 96 numbers read in a secondary copy and all equal to it.
#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "analyzer/record/preferred_values.hpp"

namespace coldtune::record {
namespace {

std::vector<int> numbers(Series series) {
    const auto all = decade(series);
    return {all.begin(), all.end()};
}

TEST(Iec60063, TheThreeListsAsPrinted) {
    EXPECT_EQ(numbers(Series::e12), (std::vector<int>{10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82}));
    EXPECT_EQ(numbers(Series::e24), (std::vector<int>{10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30,
                                                      33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91}));
    EXPECT_EQ(numbers(Series::e96),
              (std::vector<int>{100, 102, 105, 107, 110, 113, 115, 118, 121, 124, 127, 130, 133, 137, 140, 143,
                                147, 150, 154, 158, 162, 165, 169, 174, 178, 182, 187, 191, 196, 200, 205, 210,
                                215, 221, 226, 232, 237, 243, 249, 255, 261, 267, 274, 280, 287, 294, 301, 309,
                                316, 324, 332, 340, 348, 357, 365, 374, 383, 392, 402, 412, 422, 432, 442, 453,
                                464, 475, 487, 499, 511, 523, 536, 549, 562, 576, 590, 604, 619, 634, 649, 665,
                                681, 698, 715, 732, 750, 768, 787, 806, 825, 845, 866, 887, 909, 931, 953, 976}));
}

// The eight numbers where E24 leaves the rounded powers (computed independently): 26 29 32 35 38 42 46 83 by the rule.
TEST(Iec60063, TwentyFourIsNotTheRoundedPower) {
    std::vector<int> by_rule;
    std::vector<int> printed;
    const auto e24 = decade(Series::e24);
    for (std::size_t k = 0; k < e24.size(); ++k) {
        const int rule = static_cast<int>(std::lround(10 * std::pow(10.0, static_cast<double>(k) / 24)));
        if (rule == e24[k]) continue;
        by_rule.push_back(rule);
        printed.push_back(e24[k]);
    }
    EXPECT_EQ(by_rule, (std::vector<int>{26, 29, 32, 35, 38, 42, 46, 83}));
    EXPECT_EQ(printed, (std::vector<int>{27, 30, 33, 36, 39, 43, 47, 82}));
}

TEST(Iec60063, EveryOtherNumberOfTwentyFourIsTwelve) {
    const auto e24 = decade(Series::e24);
    for (std::size_t k = 0; k < decade(Series::e12).size(); ++k) EXPECT_EQ(decade(Series::e12)[k], e24[2 * k]);
}

}  // namespace
}  // namespace coldtune::record
