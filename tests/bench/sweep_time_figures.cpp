// Measuring time on the simulated bench: one flat sweep, the program's two steps, and stepped tones, until noise alone
// leaves the frequency within +-100 ppm (95 %). Each way is measured once with a given length; its interval falls with
// the square root of the time (checked by the fits' own test against the bound), which gives the time for 100 ppm.
#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdio>
#include <numbers>
#include <span>
#include <stdexcept>
#include <utility>
#include <variant>
#include <vector>

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

dsp::ResonanceFit fitted(const dsp::Response& response) {
    const auto corrected = dsp::correct(response, {}, {10e3, 1e6, 150e-12, 0});
    if (!corrected) throw std::runtime_error(corrected.error().message);
    auto outcome = dsp::fit_resonance(*corrected, dsp::ResonanceForm::series);
    if (const auto* none = std::get_if<dsp::NoFit>(&outcome)) throw std::runtime_error(none->sentence);
    return std::get<dsp::ResonanceFit>(std::move(outcome));
}

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
    const dsp::ResonanceFit fit = fitted(*response);
    const double seconds = static_cast<double>(response->averages) * static_cast<double>(sweep.period_frames) / kRate;
    return {seconds, 1.96 * std::sqrt(fit.covariance(0, 0)) / fit.frequency_hz, fit.frequency_hz, fit.q};
}

// A line of whole cycles in a stretch of one channel: its peak phasor by whole-cycle sums, and the phasor's variance.
// What is left after the line is taken out has count - 2 degrees of freedom and tells the noise s^2 of a sample; the
// phasor of a line in white noise has E|error|^2 = 4 s^2 / count, twice the 2 s^2 / count of the amplitude alone (D. C.
// Rife and R. R. Boorstyn, IEEE Trans. Inf. Theory 20, 591 (1974), from memory).
struct Line {
    std::complex<double> phasor;
    double variance = 0;
};

Line line_of(std::span<const double> samples, double cycles_per_frame) {
    const auto count = static_cast<double>(samples.size());
    const auto turn = [&](std::size_t i) {
        return std::polar(1.0, 2 * std::numbers::pi * cycles_per_frame * static_cast<double>(i));
    };
    Line line;
    for (std::size_t i = 0; i < samples.size(); ++i) line.phasor += samples[i] * std::conj(turn(i));
    line.phasor *= 2 / count;
    double rest = 0;
    for (std::size_t i = 0; i < samples.size(); ++i) rest += std::pow(samples[i] - (line.phasor * turn(i)).real(), 2);
    line.variance = 4 * rest / ((count - 2) * count);
    return line;
}

// Tones one after the other across three bandwidths about a resonance that is known already, 25 of them, each after the
// coil has settled (five time constants) and as loud as the sweeps' peak. The phase runs through from tone to tone. How
// late the interface records is taken as known, which is the tones' advantage: no frame is given away to find them.
double stepped_s(const bench::Bench& bench, double q, double level_dbfs) {
    constexpr int tones = 25;
    constexpr std::size_t each = 19200, lead_in = 4000;  // frames; the lead-in outlasts the ramp of the output
    const double settle_s = 5 * q / (std::numbers::pi * kFrequency);
    const auto settle = static_cast<std::size_t>(std::ceil(settle_s * kRate));
    audio::SweepRequest request;
    request.device = "simulated";
    request.sample_rate_hz = kRate;
    request.tail_frames = 20000;
    request.stimulus.assign(lead_in, 0.0);
    std::vector<double> cycles_per_frame;
    double phase = 0;
    for (int k = 0; k < tones; ++k) {
        const double wanted = kFrequency * (1 + 1.5 / q * (2.0 * k / (tones - 1) - 1)) / kRate;
        cycles_per_frame.push_back(std::round(wanted * each) / each);  // whole cycles in the frames that are summed
        for (std::size_t i = 0; i < settle + each; ++i) {
            request.stimulus.push_back(std::pow(10, level_dbfs / 20) * std::sin(phase));
            phase = std::remainder(phase + 2 * std::numbers::pi * cycles_per_frame.back(), 2 * std::numbers::pi);
        }
    }
    const auto recording = bench::make_simulated_port(bench, bench::Hookup::foot)->play_and_record(request, {}, {});
    if (!recording) throw std::runtime_error(recording.error().message);
    dsp::Response response;
    response.sample_rate_hz = kRate;
    std::size_t first = lead_in + bench.interface.latency_frames;
    for (const double at : cycles_per_frame) {
        first += settle;
        const Line generator = line_of(std::span(recording->capture.generator).subspan(first, each), at);
        const Line coil = line_of(std::span(recording->capture.coil).subspan(first, each), at);
        first += each;
        const std::complex<double> ratio = coil.phasor / generator.phasor;
        response.frequency_hz.push_back(at * kRate);
        response.ratio.push_back(ratio);
        response.variance.push_back((coil.variance + std::norm(ratio) * generator.variance) /
                                    std::norm(generator.phasor));
    }
    const dsp::ResonanceFit fit = fitted(response);
    const double interval = 1.96 * std::sqrt(fit.covariance(0, 0)) / fit.frequency_hz;
    return tones * (settle_s + std::max(0.005, each / kRate * std::pow(interval / kWanted, 2)));
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
                            stepped_s(bench, q, flat.level_dbfs));
            } catch (const std::runtime_error& error) {
                std::printf("%5.0f %11.0f  no result: %s\n", q, noise, error.what());
            }
            std::fflush(stdout);
        }
    }
}

}  // namespace coldtune::figures
