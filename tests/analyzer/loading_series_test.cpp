// The loading series from resonances alone, in numbers: how near, and how often inside what is stated.
#include <gtest/gtest.h>

#include <cstdio>

#include "tests/support/loading_rig.hpp"

namespace coldtune {
namespace {

using measure::SeriesEstimate;
using measure::SeriesJudgement;
using test::described;
using test::Described;
using test::deviating;
using test::said;
using test::Series;
using test::series_on;

const std::vector<double> kCapacitors = {100e-12, 150e-12, 220e-12, 330e-12, 470e-12, 680e-12, 820e-12, 910e-12, 1e-9};

struct Class {
    const char* name;
    double diameter_m, length_m, turns;
    bool topload;
    std::vector<double> capacitors;
};

double percentile(std::vector<double> values, double p) {
    std::sort(values.begin(), values.end());
    return values[static_cast<std::size_t>(p * static_cast<double>(values.size() - 1))];
}

TEST(LoadingSeries, OfASecondaryAt96kHzGivesInductanceWithinOnePercentAndItsIntervalsCover) {
    const std::vector<Class> classes = {
        {"20 mH bare", 0.10, 0.47, 1020, false, kCapacitors},
        {"20 mH top load", 0.10, 0.47, 1020, true, kCapacitors},
        {"50 mH bare", 0.16, 0.75, 1270, false, kCapacitors},
        {"50 mH top load", 0.16, 0.75, 1270, true, kCapacitors},
        {"100 mH bare", 0.20, 0.95, 1620, false, kCapacitors},
        {"100 mH top load, two", 0.20, 0.95, 1620, true, {150e-12, 680e-12}},
        {"150 mH bare", 0.25, 1.10, 1720, false, kCapacitors},
        {"150 mH top load, three", 0.25, 1.10, 1720, true, {100e-12, 330e-12, 1e-9}},
    };
    constexpr std::size_t kEach = 40;
    constexpr double kBand_hz = 43e3;
    std::mt19937_64 random(20240917);
    std::size_t cases = 0, inductance_inside = 0, frequency_inside = 0, refused = 0, within = 0, several = 0;
    std::printf(
        "96 kHz interface, 1 %% capacitors; L error (largest), stated; unloaded resonance error (95th percentile)\n");
    std::printf("%-24s %8s %3s | %8s %8s %8s | %8s %8s %8s\n", "coil", "kHz", "n", "line L%", "model L%", "u95 L%",
                "line f%", "model f%", "u95 f%");
    for (const Class& c : classes) {
        const Described d = described(test::coil_of(c.diameter_m, c.length_m, c.turns, c.topload));
        std::vector<double> line_l, model_l, stated_l, line_f, model_f, stated_f;
        std::size_t points = 0;
        for (std::size_t i = 0; i < kEach; ++i) {
            Series bench;
            // At 20 mH a nanofarad may leave one resonance in the band, which is no series.
            while (bench.input.points.size() < 2) {
                bench = series_on(deviating(d.coil, random), c.capacitors, kBand_hz, random);
            }
            points = std::max(points, bench.input.points.size());
            const SeriesJudgement judged = measure::judge_series(bench.input, &d.curve, d.prior);
            if (!judged.model) {
                std::printf("%s", said(judged).c_str());
                ++refused;
                continue;
            }
            const SeriesEstimate& m = *judged.model;
            const double l_error = m.inductance_h / bench.inductance_h - 1;
            const double f_error = *m.frequency_hz / bench.frequency_hz - 1;
            ++cases;
            inductance_inside += std::abs(m.inductance_h - bench.inductance_h) <= m.inductance_u95_h ? 1U : 0U;
            frequency_inside += std::abs(*m.frequency_hz - bench.frequency_hz) <= *m.frequency_u95_hz ? 1U : 0U;
            line_l.push_back(100 * std::abs(judged.straight_line->inductance_h / bench.inductance_h - 1));
            if (judged.straight_line->frequency_hz)
                line_f.push_back(100 * std::abs(*judged.straight_line->frequency_hz / bench.frequency_hz - 1));
            model_l.push_back(100 * std::abs(l_error));
            model_f.push_back(100 * std::abs(f_error));
            stated_l.push_back(100 * m.inductance_u95_h / m.inductance_h);
            stated_f.push_back(100 * *m.frequency_u95_hz / *m.frequency_hz);
        }
        std::printf("%-24s %8.1f %3zu | %8.2f %8.2f %8.2f | %8.1f %8.1f %8.1f\n", c.name, d.frequency_hz / 1000, points,
                    percentile(line_l, 1), percentile(model_l, 1), percentile(stated_l, 0.5),
                    line_f.empty() ? -1 : percentile(line_f, 0.95), percentile(model_f, 0.95),
                    percentile(stated_f, 0.5));
        // The promised figure. Of two capacitors each may be off by its whole 1 % in opposite ways: (680 + 150)/(680 -
        // 150) of 1 % is 1.57 %, and no evaluation can better that but by luck.
        EXPECT_LE(percentile(model_l, 0.95), c.capacitors.size() > 2 ? 1.0 : 1.6) << c.name;
        if (c.capacitors.size() <= 2) continue;
        several += model_l.size();
        within +=
            static_cast<std::size_t>(std::count_if(model_l.begin(), model_l.end(), [](double e) { return e <= 1; }));
    }
    // Such a series states about 0.8 %: 1 % is 2.5 standard uncertainties, which chance exceeds once in eighty.
    EXPECT_GE(within * 80, several * 79);
    // 93 % of the cases promised; refusals are at the stated 1 % of chance (twice that for luck of the draw).
    EXPECT_GE(static_cast<double>(inductance_inside), 0.93 * static_cast<double>(cases));
    EXPECT_GE(static_cast<double>(frequency_inside), 0.93 * static_cast<double>(cases));
    EXPECT_GE(cases, 200U);
    EXPECT_LE(refused, cases / 50);
    std::printf("inside the stated interval: L %zu, resonance %zu of %zu; refused %zu\n", inductance_inside,
                frequency_inside, cases, refused);
}

// A tank is lumped: the straight line is exact, and what is left is the capacitors.
TEST(LoadingSeries, OfATankCoversItsInductanceAndItsResonance) {
    std::mt19937_64 random(77);
    std::uniform_real_distribution<double> inductance(15e-6, 120e-6), capacitance(8e-9, 60e-9), unit(-1, 1);
    std::normal_distribution<double> noise(0, 1e-5);
    std::size_t cases = 0, inductance_inside = 0, frequency_inside = 0, refused = 0;
    std::vector<double> l_error, f_error, stated;
    for (int i = 0; i < 400; ++i) {
        const double l = inductance(random), c = capacitance(random);
        measure::SeriesInput input;
        input.hookup = bench::Hookup::tank;
        const double wire_h = measure::kTankLeadLimit_h * unit(random);
        // The tank as it stands, and three capacitors of 1 % about as large as its own.
        for (double factor : {0.0, 0.7, 1.5, 3.3}) {
            const double printed = factor * c, added = printed * (1 + 0.01 * unit(random));
            // L across c and across the added capacitor with its leads: the lower root of (1 - w^2 L c)(1 - w^2 l a) =
            // w^2 L a.
            const double p = l * c * wire_h * added, q = l * c + wire_h * added + l * added;
            const double w2 =
                std::abs(p) < 1e-6 * q * q ? (1 + p / (q * q)) / q : (q - std::sqrt(q * q - 4 * p)) / (2 * p);
            const double f = std::sqrt(w2) / (2 * std::numbers::pi) * (1 + noise(random));
            input.points.push_back({printed, 0.01 * printed, f, 1e-5 * f});
            input.names.push_back(std::to_string(factor));
        }
        const double truth = 1 / (2 * std::numbers::pi * std::sqrt(l * c));
        const auto judged = measure::judge_series(input, nullptr, {});
        if (!judged.straight_line) {
            ++refused;
            continue;
        }
        const SeriesEstimate& e = *judged.straight_line;
        ++cases;
        inductance_inside += std::abs(e.inductance_h - l) <= e.inductance_u95_h ? 1U : 0U;
        frequency_inside += std::abs(*e.frequency_hz - truth) <= *e.frequency_u95_hz ? 1U : 0U;
        l_error.push_back(100 * std::abs(e.inductance_h / l - 1));
        f_error.push_back(1e6 * std::abs(*e.frequency_hz / truth - 1));
        stated.push_back(100 * e.inductance_u95_h / e.inductance_h);
    }
    std::printf(
        "tank, 4 points: L error %.2f %% (95th percentile), stated %.2f %%; resonance %.0f ppm; inside %zu and %zu of "
        "%zu, refused %zu\n",
        percentile(l_error, 0.95), percentile(stated, 0.5), percentile(f_error, 0.95), inductance_inside,
        frequency_inside, cases, refused);
    // 95 % is what is stated; 93 % is two standard deviations of a count of 400 below it.
    EXPECT_GE(static_cast<double>(inductance_inside), 0.93 * static_cast<double>(cases));
    EXPECT_GE(static_cast<double>(frequency_inside), 0.93 * static_cast<double>(cases));
    EXPECT_LE(refused, 8U);  // refused at a chance of 1 %, twice that for luck of the draw
    EXPECT_LE(percentile(l_error, 0.95), 1.0);
}

}  // namespace
}  // namespace coldtune
