// The parts of a loading series: the curve, the line, and which point is odd.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "tests/support/loading_rig.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune {
namespace {

using measure::FindingCode;
using measure::SeriesPoint;
using measure::Weight;
using test::described;
using test::deviating;
using test::said;
using test::Series;
using test::series_on;
using ::testing::HasSubstr;

const std::vector<double> kFive = {100e-12, 150e-12, 220e-12, 330e-12, 680e-12};

const test::Described& reference() {
    static const test::Described d = described(test::coil_of(0.2, 0.95, 1620, true));
    return d;
}

// --- the curve

TEST(LoadingCurve, InterpolatesTheModelItself) {
    const auto coil = test::coil_of(0.2, 0.95, 1620, true);
    const auto family = measure::ShapeFamily::build(coil);
    ASSERT_TRUE(family.ok());
    const auto curve = test::LoadingCurve::of(*family);
    for (double c : {0.0, 1e-12, 10e-12, 47e-12, 220e-12, 1e-9, 20e-9}) {
        for (double scale : {0.8, 1.0, 1.3}) {
            SCOPED_TRACE(::testing::Message() << c << " F, scale " << scale);
            // All capacitances of the coil times `scale` and c added: the model with c/scale added, then scaled.
            const auto loaded = family->member(0).with_head_capacitance(c / scale);
            const double exact = loaded.modes_hz()[0] / std::sqrt(scale);
            const std::vector<double> shape(curve.shapes(), 0.0);
            const double f = 1 / (kTwoPi * std::sqrt(curve.inductance_h() * (c + curve.own_f(c, scale, shape.data()))));
            // A tenth of what a resonance repeats to.
            EXPECT_NEAR(f / exact, 1, 1e-6);
        }
    }
}

TEST(LoadingCurve, OwnCapacitanceFallsFromUnloadedToUniformCurrent) {
    const auto& curve = reference().curve;
    const std::vector<double> shape(curve.shapes(), 0.0);
    double last = curve.own_f(0, 1, shape.data());
    EXPECT_DOUBLE_EQ(last, curve.own_f());
    for (double c : {10e-12, 50e-12, 200e-12, 1e-9}) {
        const double own = curve.own_f(c, 1, shape.data());
        EXPECT_LT(own, last);
        last = own;
    }
    EXPECT_GT(last, 0.5 * curve.own_f());
}

TEST(LoadingCurve, EveryShapeHasTheUnloadedResonanceOfTheDescribed) {
    const auto& curve = reference().curve;
    ASSERT_GE(curve.shapes(), 3U);
    for (std::size_t k = 0; k < curve.shapes(); ++k) {
        std::vector<double> shape(curve.shapes(), 0.0);
        shape[k] = 2;
        EXPECT_NEAR(curve.own_f(0, 1, shape.data()) / curve.own_f(), 1, 1e-12) << curve.names()[k];
    }
}

// --- the line

struct Line {
    double intercept = 0, slope = 0, intercept_u = 0, slope_u = 0;
};

// The best straight line with errors in both co-ordinates, uncorrelated: D. York, N. M. Evensen, M. Lopez Martinez and
// J. De Basabe Delgado, Am. J. Phys. 72 (2004) 367, equations 13 (from memory). Nothing of the program is used.
Line york(const std::vector<double>& x, const std::vector<double>& y, const std::vector<double>& x_variance,
          const std::vector<double>& y_variance, double slope) {
    Line line;
    for (int round = 0; round < 200; ++round) {
        double weights = 0, x_mean = 0, y_mean = 0;
        std::vector<double> w(x.size()), beta(x.size());
        for (std::size_t i = 0; i < x.size(); ++i) {
            w[i] = 1 / (y_variance[i] + slope * slope * x_variance[i]);
            weights += w[i];
            x_mean += w[i] * x[i];
            y_mean += w[i] * y[i];
        }
        x_mean /= weights;
        y_mean /= weights;
        double top = 0, bottom = 0, beta_mean = 0;
        for (std::size_t i = 0; i < x.size(); ++i) {
            const double u = x[i] - x_mean, v = y[i] - y_mean;
            beta[i] = w[i] * (u * y_variance[i] + slope * v * x_variance[i]);
            top += w[i] * beta[i] * v;
            bottom += w[i] * beta[i] * u;
            beta_mean += w[i] * beta[i];
        }
        slope = top / bottom;
        beta_mean /= weights;
        double spread = 0;
        for (std::size_t i = 0; i < x.size(); ++i) spread += w[i] * std::pow(beta[i] - beta_mean, 2);
        line = {y_mean - slope * x_mean, slope, std::sqrt(1 / weights + std::pow(x_mean + beta_mean, 2) / spread),
                std::sqrt(1 / spread)};
    }
    return line;
}

TEST(StraightLine, TheYardstickGivesTheLineOfPearsonsDataWithYorksWeights) {
    // The data of K. Pearson (1901) with the weights of D. York (1966), and the line that the 2004 paper and later
    // texts print for them: slope -0.480533 +- 0.0580, intercept 5.479910 +- 0.2949 (from memory).
    const std::vector<double> x = {0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4};
    const std::vector<double> y = {5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5};
    const std::vector<double> wx = {1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1.0};
    const std::vector<double> wy = {1.0, 1.8, 4.0, 8.0, 20, 20, 70, 70, 100, 500};
    std::vector<double> vx, vy;
    for (std::size_t i = 0; i < x.size(); ++i) {
        vx.push_back(1 / wx[i]);
        vy.push_back(1 / wy[i]);
    }
    const Line line = york(x, y, vx, vy, -0.5);
    EXPECT_NEAR(line.slope, -0.480533, 1e-6);     // as printed
    EXPECT_NEAR(line.intercept, 5.479910, 1e-5);  // as printed
    EXPECT_NEAR(line.slope_u, 0.0580, 0.0002);    // printed to three digits
    EXPECT_NEAR(line.intercept_u, 0.2949, 0.0002);
}

TEST(StraightLine, IsYorksLine) {
    std::mt19937_64 random(5);
    std::uniform_real_distribution<double> unit(-1, 1);
    std::normal_distribution<double> gauss(0, 1);
    std::vector<SeriesPoint> points;
    std::vector<double> x, y, vx, vy;
    const double inductance_h = 80e-3, own_f = 14e-12;
    for (double c : {68e-12, 100e-12, 150e-12, 330e-12, 680e-12}) {
        const double limit = 0.02 * c, relative_noise = 2e-3;  // as large as the capacitors' own, so that both count
        const double true_f = 1 / (kTwoPi * std::sqrt(inductance_h * (own_f + c + limit * unit(random))));
        const double f = true_f * (1 + relative_noise * gauss(random));
        points.push_back({c, limit, f, relative_noise * f});
        x.push_back(c * 1e12);
        y.push_back(1e12 * std::pow(kTwoPi * f, -2));
        vx.push_back(std::pow(limit * 1e12, 2) / 3);
        vy.push_back(std::pow(2 * y.back() * relative_noise, 2));
    }
    const Line line = york(x, y, vx, vy, 0.08);
    const auto fit = measure::fit_straight_line(points, {});
    ASSERT_TRUE(fit.has_value());
    // Noise is small in ln f there and in 1/f^2 here: they part at the second order of 2e-3, a few 1e-5 in the slope;
    // the own capacitance is the small difference of large ones. The uncertainties part by noise over value.
    EXPECT_NEAR(fit->inductance_h / line.slope, 1, 5e-5);
    ASSERT_TRUE(fit->capacitance_f.has_value());
    EXPECT_NEAR(*fit->capacitance_f * 1e12, line.intercept / line.slope, 0.02);
    EXPECT_NEAR(fit->inductance_u95_h / (2 * line.slope_u), 1, 0.02);
    EXPECT_EQ(fit->degrees_of_freedom, 3U);
}

TEST(StraightLine, IsExactForALumpedCircuitAndForTwoPoints) {
    const double inductance_h = 47e-6, own_f = 22e-9;
    std::vector<SeriesPoint> points;
    for (double c : {0.0, 10e-9, 47e-9}) {
        const double f = 1 / (kTwoPi * std::sqrt(inductance_h * (own_f + c)));
        points.push_back({c, 0.01 * c, f, 1e-5 * f});
    }
    const auto check = [&](const std::vector<SeriesPoint>& of) {
        const auto fit = measure::fit_straight_line(of, {});
        ASSERT_TRUE(fit.has_value());
        EXPECT_NEAR(fit->inductance_h / inductance_h, 1, 1e-8);
        EXPECT_NEAR(*fit->capacitance_f / own_f, 1, 1e-8);
        EXPECT_NEAR(fit->chi_square, 0, 1e-6);
        for (double r : fit->residual_hz) EXPECT_NEAR(r, 0, 1e-3);
    };
    check(points);
    check({points[0], points[2]});
    EXPECT_EQ(measure::fit_straight_line({points[0], points[2]}, {})->chance(), 1);
}

TEST(StraightLine, ABentSeriesGivesNoOwnCapacitanceRatherThanANegativeOne) {
    // 1/f^2 rising faster than C: the intercept is below zero.
    const double l = 50e-3;
    const auto at = [&](double c, double seen) {
        const double f = 1 / (kTwoPi * std::sqrt(l * seen));
        return SeriesPoint{c, 0.01 * c, f, 1e-5 * f};
    };
    const auto fit = measure::fit_straight_line({at(500e-12, 490e-12), at(1000e-12, 995e-12)}, {});
    ASSERT_TRUE(fit.has_value());
    EXPECT_FALSE(fit->capacitance_f.has_value());
    EXPECT_FALSE(fit->frequency_hz.has_value());
    EXPECT_GT(fit->inductance_h, 0);
}

TEST(SeriesFit, NothingDeterminedIsNoFit) {
    EXPECT_FALSE(measure::fit_straight_line({}, {}).has_value());
    EXPECT_FALSE(measure::fit_straight_line({{100e-12, 1e-12, 30e3, 1}}, {}).has_value());
    // The same capacitor twice, and a resonance that rises with it.
    EXPECT_FALSE(measure::fit_straight_line({{1e-10, 1e-12, 30e3, 1}, {1e-10, 1e-12, 29e3, 1}}, {}).has_value());
    EXPECT_FALSE(measure::fit_straight_line({{1e-10, 1e-12, 30e3, 1}, {2e-10, 1e-12, 31e3, 1}}, {}).has_value());
}

TEST(SeriesFit, BudgetAddsUpAndNamesEveryPart) {
    std::mt19937_64 random(3);
    const auto& d = reference();
    const Series series = series_on(deviating(d.coil, random), kFive, 43e3, random);
    const auto judged = measure::judge_series(series.input, &d.curve, d.prior);
    ASSERT_TRUE(judged.model.has_value()) << said(judged);
    double f = 0, l = 0, c = 0;
    std::vector<std::string> names;
    for (const auto& line : judged.model->budget) {
        names.push_back(line.source);
        f = std::hypot(f, line.frequency_u_hz);
        l = std::hypot(l, line.inductance_u_h);
        c = std::hypot(c, line.capacitance_u_f);
    }
    EXPECT_THAT(names,
                ::testing::IsSupersetOf({"noise", "capacitors", "clock", "capacitor leads", "described inductance",
                                         "described capacitance", "shape: length", "shape: surroundings"}));
    // GUM 5.1.2: independent parts add as squares; k = 2.
    EXPECT_NEAR(2 * f / *judged.model->frequency_u95_hz, 1, 1e-9);
    EXPECT_NEAR(2 * l / judged.model->inductance_u95_h, 1, 1e-9);
    EXPECT_NEAR(2 * c / *judged.model->capacitance_u95_f, 1, 1e-9);
}

// --- contradictions

TEST(OddPoint, IsRefusedAndNamedWhereverItStands) {
    std::mt19937_64 random(11);
    const auto& d = reference();
    std::size_t cases = 0, refused = 0, named = 0;
    for (int round = 0; round < 12; ++round) {
        const Series honest = series_on(deviating(d.coil, random), kFive, 43e3, random);
        for (std::size_t odd = 0; odd < honest.input.points.size(); ++odd) {
            // The neighbour of the E12 series was clipped on: 20 % more than what is typed.
            test::SeriesInput input = honest.input;
            input.points[odd].capacitance_f /= 1.2;
            input.points[odd].limit_f /= 1.2;
            input.names[odd] = "the odd one here";
            const auto judged = measure::judge_series(input, &d.curve, d.prior);
            ++cases;
            if (judged.straight_line || judged.model) continue;
            ++refused;
            ASSERT_EQ(judged.findings.size(), 1U);
            EXPECT_EQ(judged.findings[0].weight, Weight::reject);
            EXPECT_EQ(judged.findings[0].code, FindingCode::nonlinear);
            named += judged.findings[0].text.find("the odd one is the odd one here") != std::string::npos ? 1U : 0U;
        }
    }
    // 20 % is 35 standard uncertainties of the capacitor; only at the end of the series, where own capacitance and
    // shape can take up a part, may one in twenty hide or point at its neighbour.
    EXPECT_GE(refused * 20, cases * 19) << refused << " of " << cases;
    EXPECT_GE(named * 20, refused * 19) << named << " of " << refused;
}

TEST(OddPoint, OfThreeIsNamedWithTheDescriptionsHelp) {
    std::mt19937_64 random(12);
    const auto& d = reference();
    std::size_t named = 0;
    constexpr std::size_t kRounds = 20;
    for (std::size_t round = 0; round < kRounds; ++round) {
        Series series = series_on(deviating(d.coil, random), {150e-12, 330e-12, 680e-12}, 43e3, random);
        series.input.points[1].capacitance_f *= 1.5;
        series.input.points[1].limit_f *= 1.5;
        series.input.names[1] = "the middle one";
        const auto judged = measure::judge_series(series.input, &d.curve, d.prior);
        ASSERT_FALSE(judged.model.has_value());
        ASSERT_EQ(judged.findings.size(), 1U);
        named += judged.findings[0].text.find("the middle one") != std::string::npos ? 1U : 0U;
    }
    EXPECT_GE(named, kRounds * 9 / 10);  // half as much again, against a description good to about 5 %
}

TEST(OddPoint, OfTwoIsFoundByTheDescriptionAlone) {
    std::mt19937_64 random(13);
    const auto& d = reference();
    const Series honest = series_on(deviating(d.coil, random), {150e-12, 470e-12}, 43e3, random);
    const auto fine = measure::judge_series(honest.input, &d.curve, d.prior);
    ASSERT_TRUE(fine.model.has_value()) << said(fine);
    EXPECT_EQ(measure::verdict_of(fine.findings), measure::Verdict::good) << said(fine);

    test::SeriesInput odd = honest.input;  // 47 pF taken for 150 pF
    odd.points[0].capacitance_f = 47e-12;
    odd.points[0].limit_f = 0.47e-12;
    const auto judged = measure::judge_series(odd, &d.curve, d.prior);
    EXPECT_FALSE(judged.model.has_value());
    ASSERT_EQ(judged.findings.size(), 1U);
    EXPECT_EQ(judged.findings[0].weight, Weight::reject);
    EXPECT_THAT(judged.findings[0].text, HasSubstr("one more capacitor"));

    test::SeriesInput swapped = honest.input;
    std::swap(swapped.points[0].frequency_hz, swapped.points[1].frequency_hz);
    const auto falls = measure::judge_series(swapped, &d.curve, d.prior);
    EXPECT_FALSE(falls.straight_line.has_value());
    EXPECT_THAT(said(falls), HasSubstr("does not fall"));
}

TEST(OddPoint, OfATankIsNamedFromFourPointsOn) {
    const auto series = [](std::initializer_list<double> printed, double odd) {
        test::SeriesInput input;
        input.hookup = bench::Hookup::tank;
        for (double c : printed) {
            const double true_f = c == odd ? 1.22 * c : c;
            const double f = 1 / (kTwoPi * std::sqrt(50e-6 * (12e-9 + true_f)));
            input.points.push_back({c, 0.01 * c, f, 1e-5 * f});
            input.names.push_back(record::format_quantity(c, record::Unit::farad, 3));
        }
        return input;
    };
    const auto four = measure::judge_series(series({0, 10e-9, 22e-9, 47e-9}, 22e-9), nullptr, {});
    EXPECT_FALSE(four.straight_line.has_value());
    EXPECT_THAT(said(four), HasSubstr("the odd one is 22.0 nF"));
    const auto three = measure::judge_series(series({10e-9, 22e-9, 47e-9}, 22e-9), nullptr, {});
    EXPECT_FALSE(three.straight_line.has_value());
    EXPECT_THAT(said(three), HasSubstr("one more capacitor would tell which"));
    const auto honest = measure::judge_series(series({0, 10e-9, 22e-9, 47e-9}, -1), nullptr, {});
    ASSERT_TRUE(honest.straight_line.has_value());
    EXPECT_TRUE(honest.findings.empty());
}

TEST(WrongDescription, IsACautionAndNotHeldTo) {
    std::mt19937_64 random(17);
    const auto& d = reference();
    test::CoilDescription true_coil = d.coil;
    true_coil.secondary.turns *= 1.25;  // counted wrongly: L is 56 % more
    const auto model = model::SecondaryModel::build(true_coil);
    ASSERT_TRUE(model.ok());
    const Series series = series_on(*model, kFive, 43e3, random);
    const auto judged = measure::judge_series(series.input, &d.curve, d.prior);
    ASSERT_TRUE(judged.model.has_value()) << said(judged);
    EXPECT_EQ(measure::verdict_of(judged.findings), measure::Verdict::caution) << said(judged);
    EXPECT_THAT(said(judged), HasSubstr("does not fit the described coil"));
    // What a description that fits would give with these capacitors.
    EXPECT_NEAR(judged.model->inductance_h / series.inductance_h, 1, 0.01);
    EXPECT_LE(std::abs(judged.model->inductance_h - series.inductance_h), judged.model->inductance_u95_h);
}

// --- what all capacitors have in common

Series of_reel(double factor, std::mt19937_64& random) {
    const auto model = model::SecondaryModel::build(reference().coil);
    Series series = series_on(*model, kFive, 43e3, random, 1e-6);
    for (auto& p : series.input.points) {
        p.capacitance_f /= factor;  // as printed: they hold `factor` times that
        p.limit_f = 0.01 * p.capacitance_f;
    }
    return series;
}

test::SeriesPrior stated_prior() {
    test::SeriesPrior prior = reference().prior;
    prior.stated_inductance = 0.02;  // 1 % each of turns, diameter and length, and a per cent of the formula
    return prior;
}

TEST(CapacitorsAlike, ASlippedPrefixIsRefusedAndNamesThemFirst) {
    std::mt19937_64 random(31);
    for (const double factor : {0.1, 10.0, 1000.0}) {
        for (const std::size_t points : {2U, 3U, 5U}) {
            Series series = of_reel(factor, random);
            series.input.points.resize(std::min(points, series.input.points.size()));
            series.input.names.resize(series.input.points.size());
            for (auto& e : series.input.effects) {
                e.frequency_relative.resize(series.input.points.size());
                e.capacitance_f.resize(series.input.points.size());
            }
            series.input.names.front() = "the first one";
            const auto judged = measure::judge_series(series.input, &reference().curve, stated_prior());
            EXPECT_FALSE(judged.straight_line || judged.model) << factor << ' ' << points;
            ASSERT_EQ(judged.findings.size(), 1U);
            EXPECT_EQ(judged.findings[0].weight, Weight::reject);
            const std::string text = judged.findings[0].text;
            EXPECT_THAT(text, HasSubstr("prefix"));
            EXPECT_THAT(text, HasSubstr("the first one"));
            EXPECT_LT(text.find("check the capacitors"), text.find("in the description")) << text;
        }
    }
}

TEST(CapacitorsAlike, AllTwentyPercentOffIsACautionThatNamesThem) {
    std::mt19937_64 random(32);
    for (const double factor : {1 / 1.2, 1.2}) {
        const Series series = of_reel(factor, random);
        const auto judged = measure::judge_series(series.input, &reference().curve, stated_prior());
        EXPECT_EQ(measure::verdict_of(judged.findings), measure::Verdict::caution) << said(judged);
        EXPECT_THAT(said(judged), HasSubstr("check the capacitors"));
    }
    const Series honest = of_reel(1, random);
    const auto judged = measure::judge_series(honest.input, &reference().curve, stated_prior());
    EXPECT_TRUE(judged.findings.empty()) << said(judged);
}

TEST(CapacitorsAlike, AllOnePercentOffIsCoveredAndLeavesTheResonance) {
    std::mt19937_64 random(33);
    for (const double factor : {0.99, 1.0, 1.01}) {
        const Series series = of_reel(factor, random);
        const auto judged = measure::judge_series(series.input, &reference().curve, stated_prior());
        ASSERT_TRUE(judged.model.has_value()) << said(judged);
        EXPECT_TRUE(judged.findings.empty()) << said(judged);
        EXPECT_NEAR(judged.model->inductance_h, series.inductance_h, judged.model->inductance_u95_h) << factor;
        EXPECT_LE(std::abs(*judged.model->frequency_hz - series.frequency_hz), *judged.model->frequency_u95_hz);
        const auto alike = std::find_if(judged.straight_line->budget.begin(), judged.straight_line->budget.end(),
                                        [](const auto& line) { return line.source == "capacitors alike"; });
        ASSERT_NE(alike, judged.straight_line->budget.end());
        // 1 % rectangular of the inductance; a common scale cancels in the resonance of the line.
        EXPECT_NEAR(alike->inductance_u_h / judged.straight_line->inductance_h, 0.01 / std::numbers::sqrt3, 1e-5);
        EXPECT_LT(alike->frequency_u_hz, 1e-6 * *judged.model->frequency_hz);
    }
}

TEST(OddPoint, AChanceOfNothingIsSaidInWords) {
    std::mt19937_64 random(34);
    Series series = of_reel(1, random);
    series.input.points[2].capacitance_f *= 1.5;
    const auto judged = measure::judge_series(series.input, &reference().curve, stated_prior());
    ASSERT_FALSE(judged.findings.empty());
    EXPECT_THAT(said(judged), HasSubstr("(chance under one in a million)"));
}

TEST(LargeCapacitors, ThatHideTheCoilsOwnAreRefusedForATank) {
    test::SeriesInput input;
    input.hookup = bench::Hookup::tank;
    for (double c : {1e-6, 1.1e-6}) {
        const double f = 1 / (kTwoPi * std::sqrt(50e-6 * (c == 1e-6 ? 0.995e-6 : 1.102e-6)));
        input.points.push_back({c, 0.01 * c, f, 1e-5 * f});
        input.names.emplace_back("some");
    }
    const auto judged = measure::judge_series(input, nullptr, {});
    EXPECT_FALSE(judged.straight_line.has_value());
    ASSERT_EQ(judged.findings.size(), 1U);
    EXPECT_EQ(judged.findings[0].code, FindingCode::outside_band);
}

}  // namespace
}  // namespace coldtune
