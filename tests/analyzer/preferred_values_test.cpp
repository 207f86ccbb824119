#include "analyzer/record/preferred_values.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <random>

namespace coldtune::record {
namespace {

using ::testing::ElementsAre;
using ::testing::HasSubstr;

constexpr std::array all_series = {Series::e12, Series::e24, Series::e96};

TEST(PreferredValues, NearestOfOrdinaryParts) {
    EXPECT_EQ(*nearest_preferred(4.6e3, Series::e12), 4.7e3);
    EXPECT_EQ(*nearest_preferred(12.4e-9, Series::e12), 12e-9);
    EXPECT_EQ(*nearest_preferred(12.4e-9, Series::e24), 12e-9);
    EXPECT_EQ(*nearest_preferred(12.6e-9, Series::e24), 13e-9);
    EXPECT_EQ(*nearest_preferred(12.6e-9, Series::e96), 12.7e-9);
    EXPECT_EQ(*nearest_preferred(9.9, Series::e24), 10.0);  // up into the next decade
    EXPECT_EQ(*nearest_preferred(9.3, Series::e12), 10.0);  // 82 and 100 meet at 90.6
    EXPECT_EQ(*nearest_preferred(9.0, Series::e12), 8.2);
    EXPECT_EQ(*nearest_preferred(1e-18, Series::e12), 1e-18);
    EXPECT_EQ(*nearest_preferred(1e18, Series::e96), 1e18);
}

TEST(PreferredValues, EveryPreferredValueIsItsOwnNearest) {
    for (const Series series : all_series) {
        const auto values = preferred_between(1e-15, 1e15, series);
        ASSERT_TRUE(values.ok());
        EXPECT_EQ(values->size(), 30 * decade(series).size() + 1);
        for (const double value : *values) EXPECT_EQ(*nearest_preferred(value, series), value);
    }
}

TEST(PreferredValues, NearestBeatsEveryOther) {
    std::mt19937_64 random(60063);
    std::uniform_real_distribution<double> exponent(-12, 6);
    for (const Series series : all_series) {
        const auto all = preferred_between(1e-14, 1e8, series);
        ASSERT_TRUE(all.ok());
        for (int round = 0; round < 300; ++round) {
            const double value = std::pow(10.0, exponent(random));
            const double nearest = *nearest_preferred(value, series);
            for (const double other : *all) {
                // 1e-14: two logarithms of doubles, each within a few ulp.
                ASSERT_LE(std::abs(std::log(nearest / value)), std::abs(std::log(other / value)) + 1e-14);
            }
        }
    }
}

TEST(PreferredValues, ListsBetween) {
    EXPECT_THAT(*preferred_between(100e-12, 470e-12, Series::e12),
                ElementsAre(100e-12, 120e-12, 150e-12, 180e-12, 220e-12, 270e-12, 330e-12, 390e-12, 470e-12));
    EXPECT_THAT(*preferred_between(8.1, 12.1, Series::e12), ElementsAre(8.2, 10.0, 12.0));
    EXPECT_TRUE(preferred_between(10.5, 10.6, Series::e24)->empty());
    EXPECT_TRUE(preferred_between(20, 10, Series::e24)->empty());
    EXPECT_TRUE(preferred_between(1e18, 1e-18, Series::e24)->empty());
    EXPECT_THAT(*preferred_between(0.1 * 3, 0.3, Series::e24), ElementsAre(0.3));  // 0.1 * 3 lies an ulp above 0.3
}

TEST(PreferredValues, RefusesWhatHasNoLogarithm) {
    for (const double bad : {0.0, -1.0, std::numeric_limits<double>::quiet_NaN(), HUGE_VAL, 1e-300, 1e300}) {
        const auto nearest = nearest_preferred(bad, Series::e24);
        ASSERT_FALSE(nearest.ok());
        EXPECT_EQ(nearest.error().kind, ErrorKind::bad_input);
        EXPECT_THAT(nearest.error().message, HasSubstr("1e-18 to 1e18"));
        EXPECT_FALSE(preferred_between(bad, 1, Series::e24).ok());
        EXPECT_FALSE(preferred_between(1, bad, Series::e24).ok());
    }
}

}  // namespace
}  // namespace coldtune::record
