#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "dsp/capture_check.hpp"
#include "dsp/excited_bins.hpp"
#include "dsp/fft.hpp"
#include "dsp/period_collection.hpp"
#include "dsp/quantisation.hpp"
#include "dsp/response.hpp"
#include "dsp/scatter_noise.hpp"
#include "dsp/silence_noise.hpp"
#include "dsp/wide_vectors.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;
using Channel = std::span<const double>;

struct Sums {
    std::vector<Complex> generator, coil;  // means over the periods
    BinScatter scatter;                    // empty with a single period
};

// Means and, in a second pass over the same lines, what is left of each period. Blocks keep all periods of a few lines
// in the processor's cache.
COLDTUNE_WIDE_VECTORS Sums sum_up(const PeriodSpectra& generator, const PeriodSpectra& coil) {
    const std::size_t periods = generator.periods();
    const std::size_t width = generator.width;
    const double each = 1.0 / static_cast<double>(periods);
    Sums sums;
    sums.generator.assign(width, Complex{});
    sums.coil.assign(width, Complex{});
    auto& s = sums.scatter;
    s.degrees = periods - 1;
    for (auto* part : {&s.ratio_power, &s.rest, &s.coil_part, &s.generator_part, &s.generator, &s.coil})
        part->assign(periods > 1 ? width : 0, 0.0);
    constexpr std::size_t block = 512;
    for (std::size_t from = 0; from < width; from += block) {
        const std::size_t to = std::min(width, from + block);
        for (std::size_t p = 0; p < periods; ++p) {
            const auto g = generator.row(p), c = coil.row(p);
            for (std::size_t i = from; i < to; ++i) sums.generator[i] += g[i], sums.coil[i] += c[i];
        }
        for (std::size_t i = from; i < to; ++i) sums.generator[i] *= each, sums.coil[i] *= each;
        if (periods < 2) continue;
        const double per_degree = 1.0 / static_cast<double>(periods - 1);
        std::array<Complex, block> ratio;
        for (std::size_t i = from; i < to; ++i) {
            const double power = std::norm(sums.generator[i]);
            ratio[i - from] = power > 0 ? sums.coil[i] * std::conj(sums.generator[i]) / power : Complex{};
        }
        for (std::size_t p = 0; p < periods; ++p) {
            const auto g = generator.row(p), c = coil.row(p);
            for (std::size_t i = from; i < to; ++i) {
                const double mr = ratio[i - from].real(), mi = ratio[i - from].imag();
                const double e1r = g[i].real() - sums.generator[i].real(), e1i = g[i].imag() - sums.generator[i].imag();
                const double e2r = c[i].real() - sums.coil[i].real(), e2i = c[i].imag() - sums.coil[i].imag();
                const double me1r = mr * e1r - mi * e1i, me1i = mr * e1i + mi * e1r;
                const double rr = e2r - me1r, ri = e2i - me1i;
                s.rest[i] += rr * rr + ri * ri;
                s.coil_part[i] += e2r * rr + e2i * ri;
                s.generator_part[i] -= me1r * rr + me1i * ri;
                s.generator[i] += e1r * e1r + e1i * e1i;
                s.coil[i] += e2r * e2r + e2i * e2i;
            }
        }
        for (std::size_t i = from; i < to; ++i) {
            const double m2 = std::norm(ratio[i - from]);
            s.ratio_power[i] = m2;
            s.rest[i] *= per_degree;
            s.coil_part[i] *= per_degree;
            s.generator_part[i] *= m2 > 0 ? per_degree / m2 : 0.0;
            s.generator[i] *= per_degree;
            s.coil[i] *= per_degree;
        }
    }
    return sums;
}

template <typename T>
std::vector<T> pick(const std::vector<T>& from, const std::vector<std::size_t>& which) {
    std::vector<T> picked;
    picked.reserve(which.size());
    for (const std::size_t i : which) picked.push_back(from[i]);
    return picked;
}

// Noise of the MEAN lines, unscaled transform units: E|error|^2 of generator, coil and coil - ratio * generator.
struct LineNoise {
    std::vector<double> generator, coil, rest;
};

LineNoise noise_of(const BinScatter& scatter, double periods) {
    LineNoise noise{pooled_power(scatter.generator, scatter.degrees), pooled_power(scatter.coil, scatter.degrees),
                    pooled_rest(scatter)};
    for (auto* part : {&noise.generator, &noise.coil, &noise.rest})
        for (double& value : *part) value /= periods;
    return noise;
}

// A single period: from the silence around the signal, else from bins the stimulus leaves silent.
std::optional<LineNoise> noise_of_single(const TwoChannelCapture& capture, const PeriodLayout& layout, std::size_t n,
                                         const std::vector<std::size_t>& bins, const std::vector<Complex>& ratio) {
    LineNoise noise;
    SignalExtent signal = *find_signal_extent(capture.generator);
    if (const auto coil = find_signal_extent(capture.coil)) {
        signal.first = std::min(signal.first, coil->first);
        signal.last = std::max(signal.last, coil->last);
    }
    const auto push = [&](double generator, double coil, double rest) {
        noise.generator.push_back(generator);
        noise.coil.push_back(coil);
        noise.rest.push_back(rest);
    };
    if (const auto silence = silence_noise(capture, signal)) {
        // One-sided density S: N frames of it carry E|X|^2 = N fs S / 2 in one bin.
        const double scale = static_cast<double>(n) * capture.sample_rate_hz / 2.0;
        for (std::size_t i = 0; i < bins.size(); ++i) {
            const auto density =
                silence->at(static_cast<double>(bins[i]) * capture.sample_rate_hz / static_cast<double>(n));
            push(density.generator * scale, density.coil * scale, density.rest(ratio[i]) * scale);
        }
        return noise;
    }
    RealFft fft(n);
    std::vector<double> g(fft.bins()), c(fft.bins());
    const auto powers = [&](const std::vector<double>& channel, std::vector<double>& out) {
        std::copy_n(channel.begin() + static_cast<std::ptrdiff_t>(layout.first), n, fft.time().begin());
        fft.forward();
        for (std::size_t k = 0; k < out.size(); ++k) out[k] = std::norm(fft.spectrum()[k]);
    };
    powers(capture.generator, g);
    powers(capture.coil, c);
    std::vector<char> sounds(fft.bins(), 0);
    for (const std::size_t k : bins) sounds[k] = 1;
    std::vector<double> silent_g, silent_c;
    for (std::size_t k = n / 50 + 1; k < n * 9 / 20; ++k) {
        if (sounds[k] != 0) continue;
        silent_g.push_back(g[k]);
        silent_c.push_back(c[k]);
    }
    if (silent_g.size() < 16) return std::nullopt;
    const auto middle = [](std::vector<double> values) {
        // Median of an exponential distribution is ln 2 of its mean.
        const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
        std::nth_element(values.begin(), at, values.end());
        return *at / std::numbers::ln2;
    };
    const double generator = middle(silent_g), coil = middle(silent_c);
    for (const Complex& m : ratio) push(generator, coil, coil + std::norm(m) * generator);
    return noise;
}

// Rounding of the samples and of the transform itself, as far as it repeats with the signal. A drifting clock moves the
// signal against the samples, and nothing repeats.
void add_repeating_rounding(const TwoChannelCapture& capture, const CollectedPeriods& used, double periods,
                            const std::vector<Complex>& ratio, LineNoise& noise) {
    if (noise.rest.empty()) return;
    const double n = static_cast<double>(used.generator.period_frames);
    const double travel = used.drift_ppm.value_or(0.0) * 1e-6 * n * periods;
    const std::size_t look = std::min<std::size_t>(used.generator.period_frames, 65536);
    const auto middle = [](std::vector<double> values) {
        const auto at = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
        std::nth_element(values.begin(), at, values.end());
        return *at;
    };
    const auto repeating = [&](const std::vector<double>& channel, const std::vector<double>& line_noise) {
        const Channel part = Channel(channel).subspan(used.first_frame, look);
        double power = 0;
        for (const double value : part) power += value * value;
        const double transform_error = std::ldexp(1.0, -52) * std::ldexp(1.0, -52) * power / static_cast<double>(look);
        if (std::abs(travel) > 1.0) return n * transform_error;
        const double scatter = middle(line_noise) * periods / n;
        return n * (transform_error + repeating_rounding_power(quantisation_step(part), scatter));
    };
    const double generator = repeating(capture.generator, noise.generator);
    const double coil = repeating(capture.coil, noise.coil);
    for (std::size_t i = 0; i < noise.rest.size(); ++i) {
        const double m2 = std::norm(ratio[i]);
        noise.generator[i] += generator;
        noise.coil[i] += coil;
        noise.rest[i] += coil + m2 * generator;
    }
}

Status check(const TwoChannelCapture& capture, const PeriodicOptions& options) {
    if (!(capture.sample_rate_hz > 0) || !std::isfinite(capture.sample_rate_hz))
        return bad_input("The capture has no sample rate; give the rate it was recorded with.");
    if (capture.coil.size() != capture.generator.size())
        return bad_input(fmt::format("The channels differ in length ({} and {} frames); record both at once.",
                                     capture.generator.size(), capture.coil.size()));
    if (options.period_frames < shortest_period)
        return bad_input(
            fmt::format("The period is {} frames; at least {} are needed.", options.period_frames, shortest_period));
    if (options.period_frames > capture.frames())
        return bad_input(
            fmt::format("The capture is {} frames long, shorter than one period of {}; record longer or give the "
                        "right period.",
                        capture.frames(), options.period_frames));
    if (options.band && !(options.band->low_hz <= options.band->high_hz))
        return bad_input(fmt::format("The band {} to {} Hz is no band; give the lower frequency first.",
                                     options.band->low_hz, options.band->high_hz));
    return check_finite(capture);
}

}  // namespace

Result<Response> periodic_response(const TwoChannelCapture& capture, const PeriodicOptions& options) {
    if (auto status = check(capture, options); !status) return status.error();
    auto laid = lay_out_periods(capture, options);
    if (!laid) return laid.error();
    auto collected = collect_periods(capture, options, *laid);
    if (!collected) return collected.error();
    const CollectedPeriods& used = *collected;
    const std::size_t n = options.period_frames;
    const double periods = static_cast<double>(used.generator.periods());
    const double bin_hz = capture.sample_rate_hz / static_cast<double>(n);

    Sums sums = sum_up(used.generator, used.coil);
    std::vector<double> power(sums.generator.size());
    std::transform(sums.generator.begin(), sums.generator.end(), power.begin(), [](Complex v) { return std::norm(v); });
    const std::vector<std::size_t> lines = excited_lines(power);
    std::vector<std::size_t> bins;
    std::vector<Complex> ratio;
    bins.reserve(lines.size());
    ratio.reserve(lines.size());
    for (const std::size_t i : lines) {
        bins.push_back(used.generator.first_bin + i);
        ratio.push_back(sums.coil[i] / sums.generator[i]);
    }

    LineNoise noise;
    if (used.generator.periods() > 1) {
        auto& s = sums.scatter;
        for (auto* part : {&s.ratio_power, &s.rest, &s.coil_part, &s.generator_part, &s.generator, &s.coil})
            if (lines.size() < part->size()) *part = pick(*part, lines);
        noise = noise_of(s, periods);
    } else {
        auto single = noise_of_single(capture, *laid, n, bins, ratio);
        if (!single)
            return bad_input(
                "Only one period is left to average and the capture holds no silence, so its noise cannot be "
                "known; record at least two periods after settling.");
        noise = std::move(*single);
    }
    add_repeating_rounding(capture, used, periods, ratio, noise);

    Response response;
    response.way = ResponseWay::whole_periods;
    response.sample_rate_hz = capture.sample_rate_hz;
    response.averages = used.generator.periods();
    response.first_frame = used.first_frame;
    response.frames_used = used.frames;
    response.periods_left_out = used.left_out;
    response.clock_drift_ppm = used.drift_ppm;
    response.drift_removed = used.resampled;
    const double to_amplitude = 2.0 / static_cast<double>(n);
    std::vector<std::size_t> kept;  // of the lines
    kept.reserve(lines.size());
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const double frequency = static_cast<double>(bins[i]) * bin_hz;
        if (options.band && (frequency < options.band->low_hz || frequency > options.band->high_hz)) continue;
        if (power[lines[i]] >= 64.0 * noise.generator[i]) kept.push_back(i);
    }
    const auto fill = [&kept](auto& values, auto value_of) {
        values.resize(kept.size());
        std::transform(kept.begin(), kept.end(), values.begin(), value_of);
    };
    const auto amplitude = [to_amplitude](double power_of_line) { return to_amplitude * std::sqrt(power_of_line); };
    fill(response.frequency_hz, [&](std::size_t i) { return static_cast<double>(bins[i]) * bin_hz; });
    fill(response.ratio, [&](std::size_t i) { return ratio[i]; });
    // Never 0, which would be an infinite weight: no ratio is known better than to its last digit.
    fill(response.variance, [&](std::size_t i) { return noise.rest[i] / power[lines[i]] + std::ldexp(1.0, -104); });
    fill(response.generator_amplitude, [&](std::size_t i) { return amplitude(power[lines[i]]); });
    fill(response.coil_amplitude, [&](std::size_t i) { return amplitude(std::norm(sums.coil[lines[i]])); });
    fill(response.generator_noise, [&](std::size_t i) { return amplitude(noise.generator[i]); });
    fill(response.coil_noise, [&](std::size_t i) { return amplitude(noise.coil[i]); });
    for (std::size_t p = 0; options.keep_periods && p < used.generator.periods(); ++p) {
        auto& ratios = response.of_periods.emplace_back();
        ratios.reserve(kept.size());
        for (const std::size_t i : kept) ratios.push_back(used.coil.row(p)[lines[i]] / used.generator.row(p)[lines[i]]);
    }
    if (response.frequency_hz.empty())
        return bad_input(
            "No frequency of the generator channel stands above its noise (by 18 dB) inside the band asked for; "
            "raise the level or check the wiring of input 1.");
    return response;
}

}  // namespace coldtune::dsp
