// Coils for the below-band way: drawn at random, described wrongly in every dimension, with what the model leaves out,
// and what an interface of a given rate would measure of them.
#pragma once

#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <random>

#include "analyzer/measure/below_band.hpp"
#include "tests/support/true_coil.hpp"

namespace coldtune::test {

using Complex = std::complex<double>;

struct Draw {
    std::mt19937_64 engine;
    double uniform(double low, double high) {
        return low + (high - low) * (static_cast<double>(engine() >> 11) * 0x1.0p-53);
    }
    double normal() {
        const double u = uniform(1e-300, 1), v = uniform(0, 1);
        return std::sqrt(-2 * std::log(u)) * std::cos(2 * std::numbers::pi * v);
    }
};

// Coils of the trade's proportions (length 3.5 to 5.5 diameters), invented.
model::CoilDescription described_coil(Draw& draw);

// Every dimension wrong by up to 5 %.
model::CoilDescription deviated(model::CoilDescription c, Draw& draw);

enum Leaves { kNothing, kLoss, kFloor, kWall, kFormer, kAll };

struct Interface {
    double rate_hz;
    double low_hz, high_hz;  // resonances to draw
};

struct Case {
    model::CoilDescription described;
    TrueCoil truth;
    double resonance_hz = 0;
    double q = 0;
    // How else the two inputs differ, and what the reference resistor carries beside its resistance.
    std::function<Complex(double frequency_hz)> inputs = [](double) { return Complex(1); };
    double reference_f = 0;
};

// Draws until the true resonance lies where it is wanted.
Case draw_case(Draw& draw, const Interface& interface, Leaves leaves);

enum Standards { kNone, kOpen, kThree };

// What 10 s of sweep at -6 dBFS through inputs with -100 dBFS of noise give, pooled to 300 bins. Noise: a line's
// amplitude is known to E|error|^2 = 4 sigma^2 / frames (white noise); gains, reference and cable of the bench are off
// as well.
measure::BelowBandOutcome measured(const Case& c, const Interface& interface, Standards used, Draw& draw,
                                   double reference_ohm = 10e3);

}  // namespace coldtune::test
