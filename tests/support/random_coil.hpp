// Coils nobody wound: sizes drawn over the range people build in, each one that could be built.
#pragma once

#include <cmath>
#include <optional>
#include <random>

#include "analyzer/model/geometry.hpp"

namespace coldtune::test {

class RandomCoil {
public:
    explicit RandomCoil(unsigned seed) : random_(seed) {}

    double between(double low, double high) { return std::uniform_real_distribution<double>(low, high)(random_); }
    // Evenly in the logarithm.
    double around(double low, double high) { return std::exp(between(std::log(low), std::log(high))); }
    bool tossed(double chance) { return between(0, 1) < chance; }

    // A winding 0.5 to 8 diameters long, ten turns to a few thousand, over a ground plane; every other one with a top
    // load.
    model::CoilDescription coil() {
        for (;;) {
            model::CoilDescription coil;
            model::Winding& w = coil.secondary;
            w.diameter_m = around(0.03, 0.5);
            w.length_m = w.diameter_m * around(0.5, 8);
            w.turns = w.length_m / around(std::max(0.15e-3, w.length_m / 3000), w.length_m / 10);
            w.wire_diameter_m = w.length_m / w.turns * between(0.3, 0.9);
            w.base_height_m = w.diameter_m * around(0.1, 3);
            if (tossed(0.5)) coil.topload = {topload(w)};
            if (model::check_geometry(coil).ok()) return coil;
        }
    }

    model::TopLoadBody topload(const model::Winding& w) {
        const double across = w.diameter_m * between(1.2, 3);
        const double height = w.diameter_m * between(0.6, 1.5);
        switch (std::uniform_int_distribution<int>(0, 2)(random_)) {
            case 0:
                return model::Toroid{across, across * between(0.1, 0.35), height};
            case 1:
                return model::Sphere{across * 0.6, height};
            default:
                return model::Disc{across, height};
        }
    }

private:
    std::mt19937_64 random_;
};

// Every length of it `s` times as long.
inline model::CoilDescription scaled(model::CoilDescription coil, double s) {
    model::Winding& w = coil.secondary;
    for (double* length : {&w.diameter_m, &w.length_m, &w.wire_diameter_m, &w.base_height_m}) *length *= s;
    for (model::TopLoadBody& body : coil.topload) {
        if (auto* toroid = std::get_if<model::Toroid>(&body)) {
            *toroid = {toroid->outer_diameter_m * s, toroid->tube_diameter_m * s, toroid->height_m * s};
        } else if (auto* sphere = std::get_if<model::Sphere>(&body)) {
            *sphere = {sphere->diameter_m * s, sphere->height_m * s};
        } else if (auto* disc = std::get_if<model::Disc>(&body)) {
            *disc = {disc->diameter_m * s, disc->height_m * s};
        }
    }
    return coil;
}

}  // namespace coldtune::test
