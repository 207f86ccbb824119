// A resonance behind a bench, written from the circuit and not from the code under test.
#pragma once

#include <cmath>
#include <complex>
#include <cstdint>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

#include "dsp/correction.hpp"
#include "dsp/response.hpp"

namespace coldtune::dsp::synthetic {

using Complex = std::complex<double>;
inline constexpr double two_pi = 2 * std::numbers::pi;
inline constexpr Complex j{0, 1};

// Admittance of a series R-L-C branch with a capacitor across it: the textbook circuit, element by element.
struct SeriesBranch {
    double f0 = 40e3, q = 100, resistance = 2e3, shunt_capacitance = 20e-12;
    [[nodiscard]] Complex admittance(double f) const {
        const double w0 = two_pi * f0;
        const double inductance = q * resistance / w0;
        const double capacitance = 1 / (w0 * w0 * inductance);
        const Complex s = j * (two_pi * f);
        return s * shunt_capacitance + 1.0 / (resistance + s * inductance + 1.0 / (s * capacitance));
    }
};

// Admittance of the dual: parallel R, L, C in series with an inductance and a resistance.
struct ParallelBranch {
    double f0 = 40e3, q = 50, resistance = 20e3, lead_inductance = 100e-6, lead_resistance = 3;
    [[nodiscard]] Complex admittance(double f) const {
        const double w0 = two_pi * f0;
        const double inductance = resistance / (q * w0);
        const double capacitance = 1 / (w0 * w0 * inductance);
        const Complex s = j * (two_pi * f);
        return 1.0 / (lead_resistance + s * lead_inductance +
                      1.0 / (1.0 / resistance + 1.0 / (s * inductance) + s * capacitance));
    }
};

// Divider of a reference resistor and the coil with an input's R and C across it.
struct Divider {
    double reference = 10e3, input_resistance = 1e6, input_capacitance = 150e-12;
    [[nodiscard]] Complex ratio(Complex coil_admittance, double f) const {
        const Complex y = coil_admittance + 1 / input_resistance + j * (two_pi * f * input_capacitance);
        return (1 / reference) / (1 / reference + y);
    }
    [[nodiscard]] BenchValues declared() const { return {reference, input_resistance, input_capacitance, 0}; }
};

inline std::vector<double> even_grid(double low, double high, std::size_t bins) {
    std::vector<double> f(bins);
    for (std::size_t i = 0; i < bins; ++i) {
        f[i] = low + (high - low) * static_cast<double>(i) / static_cast<double>(bins - 1);
    }
    return f;
}

// Response of a circuit with additive circular noise of this E|error| (rms), the same at every bin.
inline Response respond(const std::vector<double>& frequency_hz, const std::function<Complex(double)>& ratio,
                        double noise_rms, std::mt19937_64& random) {
    Response response;
    response.sample_rate_hz = 192000;
    response.frequency_hz = frequency_hz;
    std::normal_distribution<double> normal(0, noise_rms / std::numbers::sqrt2);
    for (const double f : frequency_hz) {
        const double real = normal(random);
        response.ratio.push_back(ratio(f) + Complex{real, normal(random)});
        response.variance.push_back(noise_rms * noise_rms);
    }
    response.averages = 16;
    return response;
}

}  // namespace coldtune::dsp::synthetic
