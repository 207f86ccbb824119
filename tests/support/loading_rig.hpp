// Loading series without captures: a coil that is not quite the described one, capacitors that are not quite what is
// printed on them.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "analyzer/measure/loading_series.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::test {

using measure::LoadingCurve;
using measure::SeriesInput;
using measure::SeriesJudgement;
using measure::SeriesPrior;
using model::CoilDescription;

// Secondaries of usual proportions (common practice, no source).
inline CoilDescription coil_of(double diameter_m, double length_m, double turns, bool topload) {
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

inline Described described(const CoilDescription& coil) {
    const auto family = measure::ShapeFamily::build(coil);
    if (!family) throw std::runtime_error(family.error().message);
    return {coil,
            LoadingCurve::of(*family),
            {family->inductance_prior(), family->capacitance_prior()},
            family->first_mode_hz()};
}

// The coil on the bench: every dimension off by up to 5 %, a wall somewhere, known to nobody.
inline model::SecondaryModel deviating(const CoilDescription& coil, std::mt19937_64& random) {
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

struct Series {
    SeriesInput input;
    double inductance_h = 0, frequency_hz = 0;
};

inline constexpr double kNoise = 1e-5;  // relative, of a resonance: what an in-band fit of Q 100 states at -100 dBFS

// Resonances under capacitors of 1 % that lie inside `band_hz`, with leads of up to a picofarad.
inline Series series_on(const model::SecondaryModel& coil, const std::vector<double>& capacitors, double band_hz,
                        std::mt19937_64& random, double tolerance = 0.01) {
    std::uniform_real_distribution<double> unit(-1, 1);
    std::normal_distribution<double> noise(0, kNoise);
    Series bench;
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

inline std::string said(const SeriesJudgement& judged) {
    std::string out;
    for (const auto& f : judged.findings) out += std::string(measure::code_name(f.code)) + ": " + f.text + "\n";
    return out;
}

}  // namespace coldtune::test
