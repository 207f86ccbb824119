// The loading series from resonances alone: a coil that is not quite the described one, capacitors that are not quite
// what is printed on them.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <map>
#include <numbers>
#include <random>

#include "analyzer/measure/loading_series.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune {
namespace {

using measure::FindingCode;
using measure::LoadingCurve;
using measure::SeriesEstimate;
using measure::SeriesInput;
using measure::SeriesJudgement;
using measure::SeriesPoint;
using measure::SeriesPrior;
using measure::Verdict;
using model::CoilDescription;

// Secondaries of usual proportions (common practice, no source).
CoilDescription coil_of(double diameter_m, double length_m, double turns, bool topload) {
    CoilDescription coil;
    coil.secondary = {.diameter_m = diameter_m,
                      .length_m = length_m,
                      .turns = turns,
                      .wire_diameter_m = 0.8 * length_m / turns,
                      .base_height_m = 0.25,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = std::nullopt};
    if (topload) coil.topload.push_back(model::Toroid{3 * diameter_m, 0.8 * diameter_m, 0.6 * diameter_m});
    return coil;
}

struct Described {
    CoilDescription coil;
    LoadingCurve curve;
    SeriesPrior prior;
    double frequency_hz;
};

Described described(const CoilDescription& coil) {
    const auto family = measure::ShapeFamily::build(coil);
    if (!family) throw std::runtime_error(family.error().message);
    return {coil,
            LoadingCurve::of(*family),
            {family->inductance_prior(), family->capacitance_prior()},
            family->first_mode_hz()};
}

// The coil on the bench: every dimension off by up to 5 %, a wall somewhere, known to nobody.
model::SecondaryModel deviating(const CoilDescription& coil, std::mt19937_64& random) {
    std::uniform_real_distribution<double> off(0.95, 1.05), wall(0.8, 3);
    for (;;) {
        CoilDescription true_coil = coil;
        true_coil.secondary.diameter_m *= off(random);
        true_coil.secondary.length_m *= off(random);
        true_coil.secondary.turns *= off(random);
        true_coil.secondary.base_height_m *= off(random);
        for (auto& body : true_coil.topload) {
            auto& toroid = std::get<model::Toroid>(body);
            toroid.outer_diameter_m *= off(random);
            toroid.tube_diameter_m *= off(random);
            toroid.height_m *= off(random);
        }
        true_coil.surroundings.wall_radius_m = wall(random);
        model::ModelOptions options;
        options.sections = 32;
        auto built = model::SecondaryModel::build(true_coil, options);
        if (built) return std::move(*built);
    }
}

struct Bench {
    SeriesInput input;
    double inductance_h = 0, frequency_hz = 0;
};

constexpr double kNoise = 1e-5;  // relative, of a resonance: what an in-band fit of Q 100 states at -100 dBFS

// Resonances under capacitors of 1 % that lie inside `band_hz`, with leads of up to a picofarad.
Bench series_on(const model::SecondaryModel& coil, const std::vector<double>& capacitors, double band_hz,
                std::mt19937_64& random, double tolerance = 0.01) {
    std::uniform_real_distribution<double> unit(-1, 1);
    std::normal_distribution<double> noise(0, kNoise);
    Bench bench;
    bench.inductance_h = coil.branch_inductance_h().sum();
    bench.frequency_hz = coil.modes_hz()[0];
    const double lead_f = unit(random) * measure::kDefaultLeadLimit_f;
    for (double c : capacitors) {
        const double f = coil.with_head_capacitance(c * (1 + tolerance * unit(random)) + lead_f).modes_hz()[0];
        if (f > band_hz) continue;
        bench.input.points.push_back({c, tolerance * c, f * (1 + noise(random)), kNoise * f});
        bench.input.names.push_back(record::format_quantity(c, record::Unit::farad, 3));
    }
    const std::size_t n = bench.input.points.size();
    // The clock, as an analysis states it.
    bench.input.effects.push_back(
        {"clock", std::vector<double>(n, 50e-6 / std::numbers::sqrt3), std::vector<double>(n, 0)});
    return bench;
}

std::string said(const SeriesJudgement& judged) {
    std::string out;
    for (const auto& f : judged.findings) out += std::string(measure::code_name(f.code)) + ": " + f.text + "\n";
    return out;
}

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
    std::size_t cases = 0, inductance_inside = 0, frequency_inside = 0, refused = 0;
    std::printf(
        "96 kHz interface, 1 %% capacitors; L error (largest), stated; unloaded resonance error (95th percentile)\n");
    std::printf("%-24s %8s %3s | %8s %8s %8s | %8s %8s %8s\n", "coil", "kHz", "n", "line L%", "model L%", "u95 L%",
                "line f%", "model f%", "u95 f%");
    for (const Class& c : classes) {
        const Described d = described(coil_of(c.diameter_m, c.length_m, c.turns, c.topload));
        std::vector<double> line_l, model_l, stated_l, line_f, model_f, stated_f;
        std::size_t points = 0;
        for (std::size_t i = 0; i < kEach; ++i) {
            Bench bench;
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
        // The promised figure, in every case. Of two capacitors each may be off by its whole 1 % in opposite ways: (680
        // + 150)/(680 - 150) of 1 % is 1.57 %, and no evaluation can better that but by luck.
        EXPECT_LE(percentile(model_l, 1), c.capacitors.size() > 2 ? 1.0 : 1.6) << c.name;
    }
    // 93 % of the cases promised; refusals are at the stated 1 % of chance (twice that for luck of the draw).
    EXPECT_GE(static_cast<double>(inductance_inside), 0.93 * static_cast<double>(cases));
    EXPECT_GE(static_cast<double>(frequency_inside), 0.93 * static_cast<double>(cases));
    EXPECT_GE(cases, 200U);
    EXPECT_LE(refused, cases / 50);
    std::printf("inside the stated interval: L %zu, resonance %zu of %zu; refused %zu\n", inductance_inside,
                frequency_inside, cases, refused);
}

}  // namespace
}  // namespace coldtune
