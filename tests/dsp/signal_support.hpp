// Captures with a known truth, for the tests of the signal half of dsp.
#pragma once

#include <cmath>
#include <complex>
#include <cstdint>
#include <functional>
#include <numbers>
#include <random>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/fft.hpp"
#include "dsp/response.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::dsp::testing {

using Complex = std::complex<double>;
using Transfer = std::function<Complex(double)>;

// m = Z/(R + Z) of a series resonance beside a capacitance, the shape every capture of the foot has.
struct Foot {
    double f0 = 20e3, q = 80, branch_ohm = 3e3, shunt_f = 30e-12, reference_ohm = 10e3;
    Complex operator()(double f) const {
        if (f <= 0) return 1.0;
        const Complex j(0, 1);
        const Complex y =
            j * (2 * std::numbers::pi * f * shunt_f) + (1 / branch_ohm) / (1.0 + j * q * (f / f0 - f0 / f));
        return 1.0 / (1.0 + reference_ohm * y);
    }
};

// The steady periodic answer: one period through `transfer` at every bin.
inline std::vector<double> steady(const std::vector<double>& period, double sample_rate_hz, const Transfer& transfer) {
    RealFft fft(period.size());
    std::copy(period.begin(), period.end(), fft.time().begin());
    fft.forward();
    auto bins = fft.spectrum();
    for (std::size_t k = 0; k < bins.size(); ++k)
        bins[k] *= transfer(static_cast<double>(k) * sample_rate_hz / static_cast<double>(period.size()));
    fft.inverse();
    return {fft.time().begin(), fft.time().end()};
}

inline std::vector<double> repeat(const std::vector<double>& period, std::size_t frames, std::size_t start = 0) {
    std::vector<double> out(frames);
    for (std::size_t i = 0; i < frames; ++i) out[i] = period[(i + start) % period.size()];
    return out;
}

inline void add_noise(std::vector<double>& channel, double rms, std::mt19937_64& random) {
    std::normal_distribution<double> normal(0.0, rms);
    for (double& value : channel) value += normal(random);
}

inline void round_to(std::vector<double>& channel, int bits) {
    const double steps = std::ldexp(1.0, bits - 1);
    for (double& value : channel) value = std::round(value * steps) / steps;
}

inline double rms_of_dbfs(double dbfs) {
    return std::pow(10.0, dbfs / 20.0);
}

// The value at a time between samples of a band-limited period, exact, as the sum of its lines; for player and recorder
// clocks that differ. frame i of the result is the period at phase (start + i * step), in frames.
inline std::vector<double> exact_samples(const std::vector<double>& period, std::size_t frames, double start,
                                         double step) {
    // Each group of `block` output frames is the same period shifted by a fraction that grows slowly: shift in the
    // frequency domain per block would not be exact, so every sample is summed over its lines instead, by a rotating
    // phasor for each line.
    RealFft fft(period.size());
    std::copy(period.begin(), period.end(), fft.time().begin());
    fft.forward();
    const auto bins = fft.spectrum();
    std::vector<double> out(frames, 0.0);
    const double n = static_cast<double>(period.size());
    double strongest = 0;
    for (const auto& b : bins) strongest = std::max(strongest, std::abs(b));
    for (std::size_t k = 1; k < bins.size(); ++k) {
        if (std::abs(bins[k]) < 1e-12 * strongest) continue;
        const double w = 2.0 * std::numbers::pi * static_cast<double>(k) / n;
        const Complex turn = std::polar(1.0, w * step);
        Complex now;
        for (std::size_t i = 0; i < frames; ++i) {
            if (i % 256 == 0)
                now = bins[k] * std::polar(2.0 / n, std::remainder(w * (start + static_cast<double>(i) * step),
                                                                   2.0 * std::numbers::pi));
            out[i] += now.real();
            now *= turn;
        }
    }
    return out;
}

inline constexpr double rate = 192000;

struct Bench {
    std::size_t n = 4096;
    Foot foot{20e3, 40, 3e3, 30e-12, 10e3};
    PeriodicSweep sweep;
    std::vector<double> generator, coil;  // one period each, steady

    explicit Bench(std::size_t period_frames = 4096, Band band = {1000, 86000}) : n(period_frames) {
        sweep.sample_rate_hz = rate;
        sweep.period_frames = n;
        sweep.periods = 1;
        sweep.band = band;
        generator = *sweep_period(sweep);
        coil = steady(generator, rate, foot);
    }
    // `frames` of both from frame `start` of the period.
    [[nodiscard]] TwoChannelCapture capture(std::size_t frames, std::size_t start = 0) const {
        return {rate, repeat(generator, frames, start), repeat(coil, frames, start)};
    }
    // The stimulus as played, with silences and fades; the coil answers as if it had always sounded.
    [[nodiscard]] TwoChannelCapture played(std::size_t periods, std::size_t lead_in, std::size_t fade,
                                           std::size_t lead_out) const {
        auto whole = sweep;
        whole.periods = periods;
        whole.lead_in_frames = lead_in;
        whole.fade_frames = fade;
        whole.lead_out_frames = lead_out;
        TwoChannelCapture made{rate, *render(whole), {}};
        made.coil = *render(whole);
        for (std::size_t i = 0; i < periods * n + fade; ++i) {
            const double level = std::abs(generator[i % n]) > 0 ? made.generator[lead_in + i] / generator[i % n] : 0;
            made.coil[lead_in + i] = coil[i % n] * level;
        }
        return made;
    }
};

inline PeriodicOptions options_of(std::size_t n, std::size_t settle = 1) {
    PeriodicOptions options;
    options.period_frames = n;
    options.settle_periods = settle;
    return options;
}

struct Score {
    double chi = 0;  // mean of |error|^2 / variance
    Complex mean;    // mean of error / standard deviation
    std::size_t bins = 0;
    void add(Complex error, double variance) {
        chi += std::norm(error) / variance;
        mean += error / std::sqrt(variance);
        ++bins;
    }
    [[nodiscard]] double ratio() const { return chi / static_cast<double>(bins); }
    // Each quadrature has variance 1/2 per bin.
    [[nodiscard]] double worst_mean_sigma() const {
        const double sigma = std::sqrt(0.5 * static_cast<double>(bins));
        return std::max(std::abs(mean.real()), std::abs(mean.imag())) / sigma;
    }
};

}  // namespace coldtune::dsp::testing
