// A coil that is not quite the described one, without and with its top load, standing in a room nobody described.
#pragma once

#include <cmath>
#include <numbers>
#include <random>

#include "analyzer/model/secondary.hpp"
#include "tests/support/true_coil.hpp"

namespace coldtune::test {

struct TruePair {
    model::CoilDescription coil;  // as it really is, with its top load
    TrueCoil bare;
    double bare_hz = 0, loaded_hz = 0;
    double inductance_h = 0;
};

inline std::vector<model::TopLoadBody> off_by_up_to(std::vector<model::TopLoadBody> topload, double limit,
                                                    std::mt19937_64& random) {
    std::uniform_real_distribution<double> off(1 - limit, 1 + limit);
    for (auto& body : topload) {
        if (auto* t = std::get_if<model::Toroid>(&body)) {
            t->outer_diameter_m *= off(random);
            t->tube_diameter_m *= off(random);
            t->height_m *= off(random);
        } else if (auto* s = std::get_if<model::Sphere>(&body)) {
            s->diameter_m *= off(random);
            s->height_m *= off(random);
        }
    }
    return topload;
}

inline constexpr std::size_t kTrueSections = 24;

// Every dimension off by up to 5 %.
inline TruePair true_pair(const model::CoilDescription& described, std::mt19937_64& random) {
    std::uniform_real_distribution<double> off(0.95, 1.05), wall(0.8, 3);
    model::ModelOptions options;
    options.sections = kTrueSections;
    for (;;) {
        TruePair pair;
        pair.coil = described;
        pair.coil.secondary.diameter_m *= off(random);
        pair.coil.secondary.length_m *= off(random);
        pair.coil.secondary.turns *= off(random);
        pair.coil.secondary.base_height_m *= off(random);
        pair.coil.topload = off_by_up_to(described.topload, 0.05, random);
        pair.coil.surroundings.wall_radius_m = wall(random);
        auto without = pair.coil;
        without.topload.clear();
        const auto bare = model::SecondaryModel::build(without, options);
        const auto loaded = model::SecondaryModel::build(pair.coil, options);
        if (!bare || !loaded) continue;
        pair.bare = TrueCoil::from(*bare);
        pair.bare_hz = bare->modes_hz()[0];
        pair.loaded_hz = loaded->modes_hz()[0];
        pair.inductance_h = bare->branch_inductance_h().sum();
        return pair;
    }
}

// The capacitor from the head to the return that takes the bare coil to a frequency, by the matrices themselves.
inline double true_equivalent_f(const TruePair& pair, double frequency_hz) {
    double low = 0, high = 200e-12;
    for (int i = 0; i < 40; ++i) {
        const double middle = 0.5 * (low + high);
        TrueCoil with = pair.bare;
        with.capacitance_f(with.capacitance_f.rows() - 1, with.capacitance_f.cols() - 1) += middle;
        (with.first_mode_hz() > frequency_hz ? low : high) = middle;
    }
    return 0.5 * (low + high);
}

}  // namespace coldtune::test
