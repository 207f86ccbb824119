#include "dsp/period_collection.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "dsp/capture_check.hpp"
#include "dsp/excited_bins.hpp"
#include "dsp/fft.hpp"
#include "dsp/resample.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;
using Channel = std::span<const double>;

// Neighbouring periods whose difference holds more than this part of their energy are not the same signal: normalised
// correlation under 0.9.
constexpr double unlike = 0.1;

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
    pairs.reserve(spectra.periods());
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
    differences.reserve(pairs.size());
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

// The drift, ppm, above which the clocks are brought together. A window of n frames that is not quite a period tears
// the signal at its ends by drift * n frames, which leaks into every line. Beside the noise the leak counts from some
// 300 times the delay that the noise lets one read (measured: at 4000 times it adds 40 % to the squared error of the
// ratio at a resonance, and it grows with the square).
double drift_limit_ppm(const DriftEstimate& drift, std::size_t n, double threshold_ppm) {
    const double frames = std::max(1e-5, 200.0 * drift.u_delay_frames);
    return std::min(threshold_ppm, frames / static_cast<double>(n) * 1e6);
}

}  // namespace

Result<PeriodLayout> lay_out_periods(const TwoChannelCapture& capture, const PeriodicOptions& options) {
    const std::size_t n = options.period_frames;
    const auto found = find_signal_extent(capture.generator);
    if (!found)
        return bad_input(
            "The generator channel holds no signal (nothing above -120 dBFS); check that the stimulus plays "
            "and that input 1 is on the generator side.");
    PeriodLayout layout;
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

Result<CollectedPeriods> collect_periods(const TwoChannelCapture& capture, const PeriodicOptions& options,
                                         const PeriodLayout& layout) {
    const std::size_t n = options.period_frames;
    const Channel generator(capture.generator), coil(capture.coil);
    RealFft fft(n);
    CollectedPeriods made;
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
    made.left_out = layout.count - run.count;
    DriftEstimate drift;
    if (count > 1) {
        drift = drift_from(run.pairs, n);
        made.drift_ppm = drift.ppm;
    }
    if (count > 1 && std::abs(drift.ppm) > drift_limit_ppm(drift, n, options.drift_threshold_ppm)) {
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
            if (std::abs(drift.ppm) < drift_limit_ppm(drift, n, options.drift_threshold_ppm)) break;
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
