#include "analyzer/picture/axis.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <set>

#include "tests/support/comma_locale.hpp"

namespace coldtune::picture {
namespace {

std::vector<Tick> labelled(const std::vector<Tick>& all) {
    std::vector<Tick> some;
    for (const Tick& t : all) {
        if (!t.label.empty()) some.push_back(t);
    }
    return some;
}

TEST(Axis, PositionAndValueAreInverse) {
    for (Scale scale : {Scale::linear, Scale::logarithmic}) {
        for (double p : {-0.5, 0.0, 0.25, 1.0, 1.5}) {
            const Range range{500, 86400};
            // 1e-12: a few roundings of a double.
            EXPECT_NEAR(position_of(value_at(p, range, scale), range, scale), p, 1e-12);
        }
    }
}

TEST(Axis, NothingNotPositiveIsShownLogarithmically) {
    EXPECT_LT(position_of(0, {1, 10}, Scale::logarithmic), -1e6);
    EXPECT_LT(position_of(-3, {1, 10}, Scale::logarithmic), -1e6);
}

// Whatever part of the axis is shown: marks lie inside, labels differ and read back as their values, and there are
// neither too many nor too few.
TEST(Axis, MarksAreInsideDistinctAndTrue) {
    for (Scale scale : {Scale::linear, Scale::logarithmic}) {
        for (double low : {1e-6, 0.37, 59.9, 500.0, 63000.0}) {
            for (double ratio : {1.0001, 1.003, 1.1, 2.0, 9.0, 30.0, 172.8, 1e4}) {
                for (int most : {4, 6, 10, 16}) {
                    const Range range{low, low * ratio};
                    const auto all = labelled(ticks(range, scale, most));
                    ASSERT_GE(all.size(), 1U) << low << " x " << ratio;
                    EXPECT_LE(all.size(), static_cast<std::size_t>(most) + 1) << low << " x " << ratio;
                    std::set<std::string> labels;
                    for (const Tick& t : all) {
                        EXPECT_GE(t.value, range.low * (1 - 1e-9));
                        EXPECT_LE(t.value, range.high * (1 + 1e-9));
                        labels.insert(t.label);
                    }
                    EXPECT_EQ(labels.size(), all.size()) << "two marks read the same, from " << low << " x " << ratio;
                }
            }
        }
    }
}

TEST(Axis, LinearStepsAreOneTwoOrFive) {
    for (double span : {0.013, 0.7, 3.0, 44.0, 8e3, 9.7e5}) {
        const auto all = labelled(ticks({0, span}, Scale::linear, 8));
        ASSERT_GE(all.size(), 2U);
        const double step = all[1].value - all[0].value;
        const double mantissa = step / std::pow(10.0, std::floor(std::log10(step) + 1e-9));
        EXPECT_TRUE(std::abs(mantissa - 1) < 1e-9 || std::abs(mantissa - 2) < 1e-9 || std::abs(mantissa - 5) < 1e-9)
            << mantissa;
    }
}

TEST(Axis, ManyDecadesKeepTheirPowersOfTen) {
    const auto all = labelled(ticks({1, 1e9}, Scale::logarithmic, 10));
    std::vector<std::string> texts;
    for (const Tick& t : all) texts.push_back(t.label);
    EXPECT_THAT(texts, ::testing::ElementsAre("1", "10", "100", "1k", "10k", "100k", "1M", "10M", "100M", "1G"));
}

TEST(Axis, LabelsCarryPrefixesInAnyLocale) {
    const coldtune::testing::CommaLocale comma;
    EXPECT_EQ(short_number(63500, 500), "63.5k");
    EXPECT_EQ(short_number(64000, 500), "64.0k");
    EXPECT_EQ(short_number(0.002, 0.001), "2m");
    EXPECT_EQ(short_number(-50, 50), "-50");
    EXPECT_EQ(short_number(1e-12, 50), "0");
    EXPECT_EQ(number_with_unit(63412, "Hz", 4), "63.41 kHz");
    EXPECT_EQ(number_with_unit(0.00161437, "S", 4), "1.614 mS");
    EXPECT_EQ(number_with_unit(-62.517, "\u00b0", 4), "-62.52\u00b0");
    // Rounding may carry into the next prefix.
    EXPECT_EQ(number_with_unit(999.97, "Hz", 4), "1.000 kHz");
}

// A phase goes from -90 to 90 degrees; a circle's parts are what one looks for there.
TEST(Axis, DegreesAreMarkedAtPartsOfACircle) {
    const auto texts = [](Range range, int most) {
        std::vector<std::string> all;
        for (const Tick& t : labelled(degree_ticks(range, most))) all.push_back(t.label);
        return all;
    };
    EXPECT_THAT(texts({-97, 97}, 4), ::testing::ElementsAre("-90", "0", "90"));
    EXPECT_THAT(texts({-97, 97}, 6), ::testing::ElementsAre("-90", "-45", "0", "45", "90"));
    EXPECT_THAT(texts({-50, 8}, 4), ::testing::ElementsAre("-45", "-30", "-15", "0"));
    EXPECT_THAT(texts({86.2, 93}, 4), ::testing::ElementsAre("88", "90", "92"));
    for (double low : {-200.0, -97.0, -88.7, -3.0, 12.3, 88.0}) {
        for (double span : {0.003, 0.4, 1.9, 2.1, 7.0, 40.0, 100.0, 190.0, 400.0, 2000.0}) {
            for (int most : {2, 4, 9}) {
                const auto marks = labelled(degree_ticks({low, low + span}, most));
                EXPECT_GE(marks.size(), 2U) << low << " + " << span;
                EXPECT_LE(marks.size(), static_cast<std::size_t>(std::max(5, most + 1))) << low << " + " << span;
            }
        }
    }
}

TEST(Axis, OneMarkAloneIsNoScale) {
    for (double low : {-97.0, -0.4, 0.013, 63.0}) {
        for (double span : {0.09, 0.21, 1.9, 190.0}) {
            EXPECT_GE(labelled(ticks({low, low + span}, Scale::linear, 4)).size(), 2U) << low << " + " << span;
        }
    }
    // Wherever six decades begin, at least three of their powers of ten are written.
    for (double shift = 0; shift < 1; shift += 0.05) {
        const double low = std::pow(10.0, 1 + shift);
        EXPECT_GE(labelled(ticks({low, low * 1e6}, Scale::logarithmic, 4)).size(), 3U) << low;
        EXPECT_GE(labelled(ticks({low, low * 20}, Scale::logarithmic, 4)).size(), 2U) << low;
    }
}

TEST(Axis, ImpossibleRangesHaveNoMarks) {
    EXPECT_TRUE(ticks({1, 1}, Scale::linear, 5).empty());
    EXPECT_TRUE(ticks({0, INFINITY}, Scale::linear, 5).empty());
    EXPECT_TRUE(ticks({NAN, 1}, Scale::logarithmic, 5).empty());
}

}  // namespace
}  // namespace coldtune::picture
