#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "dsp/capture_check.hpp"
#include "dsp/clock_drift.hpp"
#include "dsp/excited_bins.hpp"
#include "dsp/fft.hpp"
#include "dsp/quantisation.hpp"
#include "dsp/resample.hpp"
#include "dsp/response.hpp"
#include "dsp/scatter_noise.hpp"
#include "dsp/signal_extent.hpp"
#include "dsp/silence_noise.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;
using Channel = std::span<const double>;

constexpr std::size_t shortest_period = 16;
// Neighbouring periods whose difference holds more than this part of their energy are not the same signal: normalised
// correlation under 0.9.
constexpr double unlike = 0.1;

// Windows of the capture to work on: `count` of them, the first at frame `first`, each `spacing` frames after the last.
struct Layout {
    std::size_t first = 0;
    std::size_t count = 0;
    SignalExtent signal;
};

Result<Layout> lay_out(const TwoChannelCapture& capture, const PeriodicOptions& options) {
    const std::size_t n = options.period_frames;
    const auto found = find_signal_extent(capture.generator);
    if (!found)
        return bad_input(
            "The generator channel holds no signal (nothing above -120 dBFS); check that the stimulus plays "
            "and that input 1 is on the generator side.");
    Layout layout;
    layout.signal = *found;
    if (options.first_frame)
        layout.signal.first = std::max(layout.signal.first, std::min(*options.first_frame, found->last));
    layout.signal = trim_unsteady_end(capture.generator, layout.signal, n);
    const std::size_t sounding = layout.signal.last - layout.signal.first;
    const std::size_t settle = options.first_frame ? 0 : options.settle_periods;
    // A start is found late rather than early (fades, noise). The settling time gives up to a twentieth of a period, so
    // that the last whole period is neither lost nor reaches into the closing fade.
    const std::size_t early = settle > 0 ? n / 20 : 0;
    const std::size_t whole = (sounding + early) / n;
    if (whole < settle + 1)
        return bad_input(
            fmt::format("The signal lasts {} frames, but {} settling period(s) and one more of {} frames are "
                        "needed; record longer or give the right period.",
                        sounding, settle, n));
    layout.count = whole - settle;
    layout.first = layout.signal.first + settle * n - early;
    return layout;
}

// Spectra of whole periods, lines kept only from first_bin on; `samples` holds count * n frames.
void transform(Channel samples, RealFft& fft, PeriodSpectra& spectra) {
    const std::size_t n = fft.size();
    const std::size_t count = samples.size() / n;
    spectra.value.clear();
    spectra.value.reserve(count * spectra.width);
    for (std::size_t p = 0; p < count; ++p) {
        std::copy_n(samples.begin() + static_cast<std::ptrdiff_t>(p * n), n, fft.time().begin());
        fft.forward();
        const auto lines = fft.spectrum().subspan(spectra.first_bin, spectra.width);
        spectra.value.insert(spectra.value.end(), lines.begin(), lines.end());
    }
}

struct Run {
    std::size_t first = 0;  // period
    std::size_t count = 0;
    std::vector<PairDelay> pairs;
};

std::vector<PairDelay> pairs_of(const PeriodSpectra& spectra, double expected) {
    std::vector<PairDelay> pairs;
    for (std::size_t p = 0; p + 1 < spectra.periods(); ++p) {
        pairs.push_back(delay_between(spectra, p, p + 1, expected));
        if (pairs.back().correlation > 0.7) expected = pairs.back().frames;
    }
    return pairs;
}

// The longest stretch of neighbours that agree as well as the better half of them do. A fade, a torn period or a glitch
// ends a stretch.
Run steady_run(std::vector<PairDelay> pairs) {
    Run best;
    best.count = 1;
    if (pairs.empty()) return best;
    std::vector<double> differences;
    for (const auto& pair : pairs) differences.push_back(pair.difference);
    const auto lower = differences.begin() + static_cast<std::ptrdiff_t>((differences.size() - 1) / 2);
    std::nth_element(differences.begin(), lower, differences.end());
    // -50 dB: less than this of unsteadiness is left to the scatter.
    const double limit = std::min(unlike, std::max(10.0 * *lower, 1e-5));
    Run run;
    for (std::size_t p = 0; p < pairs.size(); ++p) {
        if (pairs[p].difference > limit) {
            run = {p + 1, 1, {}};
            continue;
        }
        if (run.count == 0) run = {p, 1, {}};
        ++run.count;
        run.pairs.push_back(pairs[p]);
        if (run.count > best.count) best = run;
    }
    return best;
}

// Lines worth keeping: everything between the first and the last bin within 66 dB of the typical strong line.
void choose_lines(Channel period, RealFft& fft, PeriodSpectra& spectra) {
    std::copy(period.begin(), period.end(), fft.time().begin());
    fft.forward();
    const auto bins = fft.spectrum();
    const std::size_t last = (fft.size() - 1) / 2;
    std::vector<double> power(last + 1, 0.0);
    for (std::size_t k = 1; k <= last; ++k) power[k] = std::norm(bins[k]);
    const double least = 2.5e-7 * typical_power(power);
    std::size_t low = 1, high = last;
    while (low < high && power[low] < least) ++low;
    while (high > low && power[high] < least) --high;
    spectra.period_frames = fft.size();
    spectra.first_bin = low;
    spectra.width = high - low + 1;
}

struct Sums {
    std::vector<Complex> generator, coil;  // means over the periods
    BinScatter scatter;                    // empty with a single period
};

// Means and, in a second pass over the same lines, what is left of each period. Blocks keep all periods of a few lines
// in the processor's cache.
Sums sum_up(const PeriodSpectra& generator, const PeriodSpectra& coil) {
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

// Generator and coil spectra of the periods finally used, as one clock would have recorded them.
struct Periods {
    PeriodSpectra generator, coil;
    std::size_t first_frame = 0;
    std::size_t frames = 0;
    std::optional<double> drift_ppm;
    bool resampled = false;
};

Error does_not_repeat(const PeriodicOptions& options, const PairDelay& pair) {
    const double n = static_cast<double>(options.period_frames);
    if (pair.correlation > 0.9 && std::abs(pair.frames) > 1.0)
        return bad_input(
            fmt::format("The signal repeats every {:.0f} frames, not every {}; give the period it was made "
                        "with.",
                        n + pair.frames, options.period_frames));
    return bad_input(
        fmt::format("The signal does not repeat every {} frames (neighbouring periods correlate {:.2f}, 0.9 is "
                    "needed); give the right period, or none for a signal that does not repeat.",
                    options.period_frames, pair.correlation));
}

// Two clocks never differ by more; a larger shift between periods is a wrong period.
bool too_far(const PairDelay& pair, std::size_t n) {
    return std::abs(pair.frames) > 4e-4 * static_cast<double>(n) + 1.0;
}

Result<Periods> collect(const TwoChannelCapture& capture, const PeriodicOptions& options, const Layout& layout) {
    const std::size_t n = options.period_frames;
    const Channel generator(capture.generator), coil(capture.coil);
    RealFft fft(n);
    Periods made;
    choose_lines(generator.subspan(layout.first + (layout.count - 1) / 2 * n, n), fft, made.generator);
    made.coil.period_frames = n;
    made.coil.first_bin = made.generator.first_bin;
    made.coil.width = made.generator.width;

    // A single period cannot show whether it repeats, unless the settling period before it does.
    const bool look_back = layout.count == 1 && layout.first >= layout.signal.first + n - n / 20 && layout.first >= n;
    if (look_back) {
        transform(generator.subspan(layout.first - n, 2 * n), fft, made.generator);
        if (const PairDelay pair = delay_between(made.generator, 0, 1, 0.0); pair.correlation < 0.7 || too_far(pair, n))
            return does_not_repeat(options, pair);
    }
    transform(generator.subspan(layout.first, layout.count * n), fft, made.generator);
    std::vector<PairDelay> pairs = pairs_of(made.generator, 0.0);
    Run run = steady_run(pairs);
    if (layout.count > 1 && run.count < 2) {
        const auto best = std::max_element(pairs.begin(), pairs.end(), [](const PairDelay& a, const PairDelay& b) {
            return a.correlation < b.correlation;
        });
        return does_not_repeat(options, *best);
    }
    for (const PairDelay& pair : run.pairs)
        if (too_far(pair, n)) return does_not_repeat(options, pair);

    made.first_frame = layout.first + run.first * n;
    std::size_t count = run.count;
    DriftEstimate drift;
    if (count > 1) {
        drift = drift_from(run.pairs, n);
        made.drift_ppm = drift.ppm;
    }
    if (count > 1 && std::abs(drift.ppm) > options.drift_threshold_ppm) {
        // The interpolator reads this many frames beyond both ends.
        constexpr std::size_t reach = 48;
        const double last =
            static_cast<double>(std::min(layout.signal.last, capture.frames() - std::min(capture.frames(), reach)));
        const std::size_t earliest = std::max(layout.signal.first, reach);
        double stretch = 1.0;
        std::vector<double> read;
        // Each round leaves of the drift about the part it was of a period (3e-4 at most).
        for (int round = 0; round < 4; ++round) {
            stretch *= 1.0 + drift.ppm * 1e-6;
            const double step = stretch;
            const double wanted = static_cast<double>(count * n) * step;
            if (static_cast<double>(made.first_frame) + wanted > last) {
                const double start = std::floor(last - wanted);
                if (run.first == 0 && start >= static_cast<double>(earliest) &&
                    static_cast<double>(made.first_frame) - start <= static_cast<double>(n) / 20)
                    made.first_frame = static_cast<std::size_t>(start);
                else
                    --count;
            }
            made.first_frame = std::max(made.first_frame, std::min(reach, capture.frames()));
            if (count < 2)
                return bad_input(
                    fmt::format("Two clocks differ by {:.1f} ppm and fewer than two whole periods of {} frames "
                                "are left to remove it; record longer.",
                                (stretch - 1.0) * 1e6, n));
            read.resize(count * n);
            read_at(generator, static_cast<double>(made.first_frame), step, read);
            transform(read, fft, made.generator);
            pairs = pairs_of(made.generator, 0.0);
            drift = drift_from(pairs, n);
            if (std::abs(drift.ppm) < std::min(0.01, options.drift_threshold_ppm)) break;
        }
        made.drift_ppm = (stretch * (1.0 + drift.ppm * 1e-6) - 1.0) * 1e6;
        made.resampled = true;
        read_at(coil, static_cast<double>(made.first_frame), stretch, read);
        transform(read, fft, made.coil);
        made.frames = std::min(capture.frames() - made.first_frame,
                               static_cast<std::size_t>(std::ceil(static_cast<double>(count * n) * stretch)));
    } else {
        if (run.first > 0 || run.count < layout.count) {
            auto& value = made.generator.value;
            const auto width = static_cast<std::ptrdiff_t>(made.generator.width);
            value.erase(value.begin(), value.begin() + static_cast<std::ptrdiff_t>(run.first) * width);
            value.resize(run.count * made.generator.width);
        }
        transform(coil.subspan(made.first_frame, count * n), fft, made.coil);
        made.frames = count * n;
    }
    if (count > 1) {
        align(made.generator, drift.delay_frames);
        align(made.coil, drift.delay_frames);
    }
    return made;
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
std::optional<LineNoise> noise_of_single(const TwoChannelCapture& capture, const Layout& layout, std::size_t n,
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
void add_repeating_rounding(const TwoChannelCapture& capture, const Periods& used, double periods,
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
    auto laid = lay_out(capture, options);
    if (!laid) return laid.error();
    auto collected = collect(capture, options, *laid);
    if (!collected) return collected.error();
    Periods& used = *collected;
    const std::size_t n = options.period_frames;
    const double periods = static_cast<double>(used.generator.periods());
    const double bin_hz = capture.sample_rate_hz / static_cast<double>(n);

    Sums sums = sum_up(used.generator, used.coil);
    std::vector<double> power(sums.generator.size());
    std::transform(sums.generator.begin(), sums.generator.end(), power.begin(), [](Complex v) { return std::norm(v); });
    const std::vector<std::size_t> lines = excited_lines(power);
    std::vector<std::size_t> bins;
    std::vector<Complex> ratio;
    for (const std::size_t i : lines) {
        bins.push_back(used.generator.first_bin + i);
        ratio.push_back(sums.coil[i] / sums.generator[i]);
    }

    LineNoise noise;
    if (used.generator.periods() > 1) {
        auto& s = sums.scatter;
        for (auto* part : {&s.ratio_power, &s.rest, &s.coil_part, &s.generator_part, &s.generator, &s.coil})
            *part = pick(*part, lines);
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
    response.clock_drift_ppm = used.drift_ppm;
    response.drift_removed = used.resampled;
    const double to_amplitude = 2.0 / static_cast<double>(n);
    for (std::size_t i = 0; i < lines.size(); ++i) {
        const double frequency = static_cast<double>(bins[i]) * bin_hz;
        if (options.band && (frequency < options.band->low_hz || frequency > options.band->high_hz)) continue;
        const double generator_power = power[lines[i]];
        if (generator_power < 64.0 * noise.generator[i]) continue;
        response.frequency_hz.push_back(frequency);
        response.ratio.push_back(ratio[i]);
        response.variance.push_back(noise.rest[i] / generator_power);
        response.generator_amplitude.push_back(to_amplitude * std::sqrt(generator_power));
        response.coil_amplitude.push_back(to_amplitude * std::abs(sums.coil[lines[i]]));
        response.generator_noise.push_back(to_amplitude * std::sqrt(noise.generator[i]));
        response.coil_noise.push_back(to_amplitude * std::sqrt(noise.coil[i]));
    }
    if (response.frequency_hz.empty())
        return bad_input(
            "No frequency of the generator channel stands above its noise (by 18 dB) inside the band asked for; "
            "raise the level or check the wiring of input 1.");
    return response;
}

bool repeats_with_period(const TwoChannelCapture& capture, std::size_t period_frames) {
    const std::size_t n = period_frames;
    if (n < shortest_period || capture.frames() < 2 * n || !check_finite(capture)) return false;
    const auto found = find_signal_extent(capture.generator);
    if (!found) return false;
    const SignalExtent signal = trim_unsteady_end(capture.generator, *found, n);
    if (signal.last < signal.first + 2 * n) return false;
    // The last two whole periods: the first may still be settling.
    const Channel samples = Channel(capture.generator).subspan(signal.last - 2 * n, 2 * n);
    RealFft fft(n);
    PeriodSpectra spectra;
    choose_lines(samples.last(n), fft, spectra);
    transform(samples, fft, spectra);
    const PairDelay pair = delay_between(spectra, 0, 1, 0.0);
    return pair.correlation > 0.9 && !too_far(pair, n);
}

}  // namespace coldtune::dsp
