// Stimuli and measures shared by the tests of simulated recordings.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <functional>
#include <numbers>
#include <vector>

#include "analyzer/bench/bench_signal.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune::bench {

using Complex = std::complex<double>;
inline constexpr double kRate = 96000;

// Nothing but the circuit: no noise, no rounding, no latency, equal gains, volts = full scale.
inline Bench bare_bench() {
    Bench bench;
    bench.coil = LumpedCoil{{{0.2, 60e-12, 900}}, 0};
    bench.interface.bits = 0;
    bench.interface.latency_frames = 0;
    bench.interface.generator_noise_dbfs = -400;
    bench.interface.coil_noise_dbfs = -400;
    bench.interface.output_full_scale_v = 1;
    bench.interface.input_full_scale_v = 1;
    return bench;
}

inline dsp::TwoChannelCapture record(const Bench& bench, Hookup hookup, const std::vector<double>& stimulus,
                                     std::size_t tail = 0, std::uint64_t sweep = 0) {
    const auto simulated = SimulatedBench::build(bench);
    EXPECT_TRUE(simulated.ok()) << (simulated ? "" : simulated.error().message);
    auto capture = simulated->record({hookup, stimulus, kRate, tail, sweep});
    EXPECT_TRUE(capture.ok()) << (capture ? "" : capture.error().message);
    return *capture;
}

// A tone that comes and goes over 50 ms without an edge (error function, 1e-12 at both ends), so that it is
// band-limited like anything an interface can play.
inline std::vector<double> tone(double frequency_hz, double amplitude, std::size_t frames) {
    std::vector<double> x(frames);
    for (std::size_t i = 0; i < frames; ++i) {
        const double inside = static_cast<double>(std::min(i, frames - 1 - i));
        const double envelope = 0.5 * std::erfc((2400 - inside) / 480);
        x[i] = amplitude * envelope * std::sin(kTwoPi * frequency_hz * static_cast<double>(i) / kRate);
    }
    return x;
}

// A pulse whose spectrum is below 1e-12 at half the sample rate and at the edges of its support: as good as
// band-limited.
inline double pulse(double t_s) {
    const double centre = 0.02, width = 0.25e-3, f = 20e3;
    const double u = (t_s - centre) / width;
    return 0.5 * std::exp(-0.5 * u * u) * std::cos(kTwoPi * f * (t_s - centre));
}

inline std::vector<double> sampled(const std::function<double(double)>& signal, double rate_hz, std::size_t frames) {
    std::vector<double> x(frames);
    for (std::size_t i = 0; i < frames; ++i) x[i] = signal(static_cast<double>(i) / rate_hz);
    return x;
}

inline double rms(const std::vector<double>& x, std::size_t first = 0, std::size_t last = SIZE_MAX) {
    last = std::min(last, x.size());
    double sum = 0;
    for (std::size_t i = first; i < last; ++i) sum += x[i] * x[i];
    return std::sqrt(sum / static_cast<double>(last - first));
}

// Amplitude of the line at a frequency with a whole number of turns in the stretch.
inline Complex line(const std::vector<double>& x, double frequency_hz, std::size_t first, std::size_t frames) {
    Complex sum = 0;
    for (std::size_t i = 0; i < frames; ++i) {
        sum += x[first + i] * std::polar(1.0, -kTwoPi * frequency_hz * static_cast<double>(first + i) / kRate);
    }
    return 2.0 * sum / static_cast<double>(frames);
}

}  // namespace coldtune::bench
