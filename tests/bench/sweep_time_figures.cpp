// Measuring time on the simulated bench: one flat sweep, the program's two steps, and stepped tones, until noise alone
// leaves the frequency within +-100 ppm (95 %). Each way is measured once with a given length; its interval falls with
// the square root of the time (checked by the fits' own test against the bound), which gives the time for 100 ppm.
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <random>
#include <stdexcept>
#include <variant>

#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/measure/session_parts.hpp"
#include "dsp/resonance_fit.hpp"
#include "dsp/response.hpp"
#include "tests/bench/figures.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune::figures {
namespace {

constexpr double kRate = 192000, kFrequency = 60e3, kWanted = 100e-6;

struct Sweep {
    double seconds = 0;   // of the averaged periods
    double interval = 0;  // relative, 95 %, noise alone
    double frequency_hz = 0, q = 0;
    // Of averaging, for the interval wanted.
    [[nodiscard]] double for_wanted() const { return seconds * std::pow(interval / kWanted, 2); }
    // The whole sweep: one period to settle, and at least two to tell the noise.
    [[nodiscard]] double whole(double period_s) const { return period_s + std::max(2 * period_s, for_wanted()); }
};

Sweep measured(const bench::Bench& bench, const dsp::PeriodicSweep& sweep) {
    audio::SweepRequest request;
    request.device = "simulated";
    request.sample_rate_hz = kRate;
    auto signal = dsp::render(sweep);
    if (!signal) throw std::runtime_error(signal.error().message);
    request.stimulus = std::move(*signal);
    request.tail_frames = 20000;
    const auto recording = bench::make_simulated_port(bench, bench::Hookup::foot)->play_and_record(request, {}, {});
    if (!recording) throw std::runtime_error(recording.error().message);
    dsp::PeriodicOptions options;
    options.period_frames = sweep.period_frames;
    const auto response = dsp::periodic_response(recording->capture, options);
    if (!response) throw std::runtime_error(response.error().message);
    const auto corrected = dsp::correct(*response, {}, {10e3, 1e6, 150e-12, 0});
    const auto outcome = dsp::fit_resonance(*corrected, dsp::ResonanceForm::series);
    const auto* fit = std::get_if<dsp::ResonanceFit>(&outcome);
    if (fit == nullptr) throw std::runtime_error(std::get<dsp::NoFit>(outcome).sentence);
    const double seconds = static_cast<double>(response->averages) * static_cast<double>(sweep.period_frames) / kRate;
    return {seconds, 1.96 * std::sqrt(fit->covariance(0, 0)) / fit->frequency_hz, fit->frequency_hz, fit->q};
}

// Tones one after the other across three bandwidths about a resonance that is known already, 25 of them, each after the
// coil has settled (five time constants) and as loud as the sweeps' peak. Their noise is white: the ratio of a line of
// amplitude A over t seconds has E|error|^2 = 4 s^2 (1 + |m|^2) / (rate t A^2), s^2 the variance of a sample's noise.
double stepped_s(double q, double noise_dbfs, double resistance_ohm, double shunt_f) {
    constexpr int tones = 25;
    const double settle_s = 5 * q / (std::numbers::pi * kFrequency), each_s = 0.1;
    const double power = 0.5 * std::pow(10, noise_dbfs / 10), amplitude = 0.501;
    dsp::Response response;
    response.sample_rate_hz = kRate;
    std::mt19937_64 random(7);
    std::normal_distribution<double> normal;
    for (int k = 0; k < tones; ++k) {
        const double f = kFrequency * (1 + 1.5 / q * (2.0 * k / (tones - 1) - 1)), w = 2 * std::numbers::pi * f;
        const double u = q * (f / kFrequency - kFrequency / f);
        const std::complex<double> y =
            1.0 / (resistance_ohm * std::complex<double>(1, u)) + std::complex<double>(1e-6, w * (shunt_f + 150e-12));
        const std::complex<double> m = 1.0 / (1.0 + 10e3 * y);
        const double variance = 4 * power * (1 + std::norm(m)) / (kRate * each_s * amplitude * amplitude);
        const double s = std::sqrt(variance / 2), re = normal(random);
        response.frequency_hz.push_back(f);
        response.ratio.push_back(m + std::complex<double>(s * re, s * normal(random)));
        response.variance.push_back(variance);
    }
    const auto corrected = dsp::correct(response, {}, {10e3, 1e6, 150e-12, 0});
    const auto outcome = dsp::fit_resonance(*corrected, dsp::ResonanceForm::series);
    const auto* fit = std::get_if<dsp::ResonanceFit>(&outcome);
    if (fit == nullptr) return NAN;
    const double interval = 1.96 * std::sqrt(fit->covariance(0, 0)) / fit->frequency_hz;
    return tones * (settle_s + std::max(0.005, each_s * std::pow(interval / kWanted, 2)));
}

}  // namespace

void print_sweep_time() {
    std::printf(
        "seconds of sound until noise alone leaves the frequency within +-100 ppm (95 %%); 60 kHz, 1 kohm, 192 kHz,\n"
        "-6 dBFS. 'averaging': of the periods that are averaged, as far as noise asks for them; 'whole': with "
        "settling, at\n"
        "least three periods, and the coarse sweep of 2 s. 'tones': 25 stepped ones, the resonance known beforehand\n\n"
        "               averaging                      |            whole            |\n"
        "    Q  noise      flat  concentrated    ratio |     flat  two steps    ratio |    tones\n"
        "        dBFS\n");
    for (const double q : {30.0, 130.0, 400.0}) {
        for (const double noise : {-60.0, -40.0, -30.0, -20.0}) {
            constexpr double resistance = 1e3, stray = 15e-12;
            bench::Bench bench;
            bench.coil = test::series_coil(kFrequency, q, q * resistance / (2 * std::numbers::pi * kFrequency), stray);
            bench.wiring.coil_input.cable_f = 138e-12;  // and 12 pF of the input
            bench.interface.generator_noise_dbfs = bench.interface.coil_noise_dbfs = noise;
            measure::SessionSettings settings;
            settings.sample_rate_hz = kRate;
            settings.bench = {10e3, 1e6, 150e-12, 0};
            try {
                dsp::PeriodicSweep flat = measure::flat_sweep(settings);
                const double coarse_s = 3 * static_cast<double>(flat.period_frames) / kRate;
                flat.periods = 13;
                const Sweep one = measured(bench, flat);
                dsp::PeriodicSweep second = flat;
                measure::CoarseView view{one.frequency_hz, one.q, 3 * one.frequency_hz / one.q, {}, {}};
                measure::concentrate(second, view, settings);
                const Sweep two = measured(bench, second);
                const double flat_s = one.whole(static_cast<double>(flat.period_frames) / kRate);
                const double both_s = coarse_s + two.whole(static_cast<double>(second.period_frames) / kRate);
                std::printf("%5.0f %6.0f %9.2g %13.2g %8.3f | %8.1f %10.1f %8.3f | %8.2f\n", q, noise, one.for_wanted(),
                            two.for_wanted(), two.for_wanted() / one.for_wanted(), flat_s, both_s, both_s / flat_s,
                            stepped_s(q, noise, resistance, stray));
            } catch (const std::runtime_error& error) {
                std::printf("%5.0f %11.0f  no result: %s\n", q, noise, error.what());
            }
            std::fflush(stdout);
        }
    }
}

}  // namespace coldtune::figures
