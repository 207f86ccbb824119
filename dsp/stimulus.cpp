#include "dsp/stimulus.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>

#include "dsp/crest.hpp"
#include "dsp/fft.hpp"

namespace coldtune::dsp {
namespace {

constexpr double pi = std::numbers::pi;
constexpr std::size_t shortest_sweep = 64;
constexpr std::size_t longest_period = std::size_t{1} << 24;
// 2^28 frames are 23 minutes at 192 kHz and 2 GiB in memory: more is a mistyped number.
constexpr std::size_t longest_signal = std::size_t{1} << 28;

double full_scale_of(double level_dbfs) {
    return std::pow(10.0, level_dbfs / 20.0);
}

// Raised cosine, 0 towards the outside and 1 towards the signal, sampled at the middle of each frame.
double ramp(std::size_t frame, std::size_t frames) {
    return 0.5 - 0.5 * std::cos(pi * (static_cast<double>(frame) + 0.5) / static_cast<double>(frames));
}

bool positive(double value) {
    return std::isfinite(value) && value > 0;
}

Status check_rate_and_level(double sample_rate_hz, double level_dbfs) {
    if (!positive(sample_rate_hz))
        return usage_error(
            fmt::format("The sample rate is {} Hz; give a rate above 0, for example 192000.", sample_rate_hz));
    if (!std::isfinite(level_dbfs) || level_dbfs > 0)
        return usage_error(fmt::format(
            "The level is {} dBFS; give 0 or less, because above 0 dBFS the signal would clip.", level_dbfs));
    return Done{};
}

Status check_band(const Band& band, double sample_rate_hz) {
    if (!positive(band.low_hz) || !std::isfinite(band.high_hz) || band.low_hz >= band.high_hz)
        return usage_error(
            fmt::format("The band {} to {} Hz is no band; its lower edge must be above 0 and below its "
                        "upper edge.",
                        band.low_hz, band.high_hz));
    if (band.high_hz >= sample_rate_hz / 2)
        return usage_error(fmt::format("The band ends at {} Hz; at {} Hz sample rate it must end below {} Hz.",
                                       band.high_hz, sample_rate_hz, sample_rate_hz / 2));
    return Done{};
}

Status check_length(double frames) {
    if (!(frames <= static_cast<double>(longest_signal)))
        return usage_error(
            fmt::format("The signal would be {:.4g} frames long; shorten it to at most {}.", frames, longest_signal));
    return Done{};
}

struct Bins {
    std::size_t first = 0;
    std::size_t last = 0;
};

// Bins inside the band. A band edge typed as a bin's own frequency must not lose that bin to rounding.
Bins bins_of(const PeriodicSweep& sweep) {
    const double per_hz = static_cast<double>(sweep.period_frames) / sweep.sample_rate_hz;
    const double low = sweep.band.low_hz * per_hz;
    const double high = sweep.band.high_hz * per_hz;
    const double slack = 1e-9;
    Bins bins;
    bins.first = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(low * (1 - slack))));
    bins.last = std::min((sweep.period_frames - 1) / 2, static_cast<std::size_t>(std::floor(high * (1 + slack))));
    return bins;
}

Status check(const PeriodicSweep& sweep) {
    if (auto status = check_rate_and_level(sweep.sample_rate_hz, sweep.level_dbfs); !status) return status.error();
    if (sweep.period_frames < shortest_sweep || sweep.period_frames > longest_period)
        return usage_error(fmt::format("The period is {} frames; give {} to {}.", sweep.period_frames, shortest_sweep,
                                       longest_period));
    if (sweep.periods < 1) return usage_error("The sweep has no period; give at least 1.");
    if (auto status = check_band(sweep.band, sweep.sample_rate_hz); !status) return status.error();
    if (const Bins bins = bins_of(sweep); bins.last < bins.first + 1)
        return usage_error(fmt::format(
            "The band {} to {} Hz holds fewer than two bins of {:.6g} Hz; widen it or "
            "lengthen the period.",
            sweep.band.low_hz, sweep.band.high_hz, sweep.sample_rate_hz / static_cast<double>(sweep.period_frames)));
    if (sweep.focus) {
        const auto& focus = *sweep.focus;
        if (!positive(focus.centre_hz) || focus.centre_hz >= sweep.sample_rate_hz / 2)
            return usage_error(
                fmt::format("The sweep is to be concentrated at {} Hz; give a frequency between 0 and "
                            "{} Hz.",
                            focus.centre_hz, sweep.sample_rate_hz / 2));
        if (!positive(focus.half_width_hz))
            return usage_error(
                fmt::format("The half width of the concentration is {} Hz; it must be above 0.", focus.half_width_hz));
        if (!std::isfinite(focus.floor_db) || focus.floor_db < 0 || focus.floor_db > 40)
            return usage_error(fmt::format("The floor of the concentration is {} dB; give 0 to 40.", focus.floor_db));
    }
    if (sweep.fade_frames > sweep.period_frames)
        return usage_error(fmt::format("The fade is {} frames; it must fit into one period of {} frames.",
                                       sweep.fade_frames, sweep.period_frames));
    return check_length(static_cast<double>(sweep.periods) * static_cast<double>(sweep.period_frames) +
                        static_cast<double>(sweep.lead_in_frames) + static_cast<double>(sweep.lead_out_frames) +
                        static_cast<double>(sweep.fade_frames));
}

// Amplitude of a single resonance's response at this frequency, 1 at its centre, kept above the floor.
double shape(const PeriodicSweep& sweep, double frequency_hz) {
    if (!sweep.focus) return 1.0;
    const double offset = (frequency_hz - sweep.focus->centre_hz) / sweep.focus->half_width_hz;
    return std::max(1.0 / std::hypot(1.0, offset), std::pow(10.0, -sweep.focus->floor_db / 20.0));
}

}  // namespace

Result<std::vector<double>> sweep_period(const PeriodicSweep& sweep) {
    if (auto status = check(sweep); !status) return status.error();
    const Bins bins = bins_of(sweep);
    const double bin_hz = sweep.sample_rate_hz / static_cast<double>(sweep.period_frames);
    const std::size_t count = bins.last - bins.first + 1;

    std::vector<double> amplitude(count);
    for (std::size_t n = 0; n < count; ++n) amplitude[n] = shape(sweep, static_cast<double>(bins.first + n) * bin_hz);
    const std::vector<double> phase = schroeder_phases(amplitude);
    std::vector<std::complex<double>> lines(count);
    for (std::size_t n = 0; n < count; ++n) lines[n] = std::polar(amplitude[n], phase[n]);
    lower_crest(lines, bins.first, sweep.period_frames);

    RealFft fft(sweep.period_frames);
    const auto spectrum = fft.spectrum();
    std::fill(spectrum.begin(), spectrum.end(), std::complex<double>{});
    std::copy(lines.begin(), lines.end(), spectrum.begin() + static_cast<std::ptrdiff_t>(bins.first));
    fft.inverse();

    const auto time = fft.time();
    double peak = 0;
    for (const double value : time) peak = std::max(peak, std::abs(value));
    // Dividing first makes the peak sample exactly +-1, so that the level is met exactly and never exceeded.
    const double level = full_scale_of(sweep.level_dbfs);
    std::vector<double> period(sweep.period_frames);
    std::transform(time.begin(), time.end(), period.begin(), [&](double value) { return value / peak * level; });
    return period;
}

Result<std::vector<double>> render(const PeriodicSweep& sweep) {
    auto made = sweep_period(sweep);
    if (!made) return made.error();
    const std::vector<double>& period = *made;
    const std::size_t sounding = sweep.periods * sweep.period_frames;
    std::vector<double> signal(sweep.lead_in_frames + sounding + sweep.fade_frames + sweep.lead_out_frames, 0.0);
    auto at = signal.begin() + static_cast<std::ptrdiff_t>(sweep.lead_in_frames);
    const auto start = at;
    for (std::size_t p = 0; p < sweep.periods; ++p) at = std::copy(period.begin(), period.end(), at);
    for (std::size_t n = 0; n < sweep.fade_frames; ++n) {
        start[static_cast<std::ptrdiff_t>(n)] *= ramp(n, sweep.fade_frames);
        *at++ = period[n] * ramp(sweep.fade_frames - 1 - n, sweep.fade_frames);
    }
    return signal;
}

Result<std::vector<double>> render(const LogarithmicSweep& sweep) {
    if (auto status = check_rate_and_level(sweep.sample_rate_hz, sweep.level_dbfs); !status) return status.error();
    if (auto status = check_band(sweep.band, sweep.sample_rate_hz); !status) return status.error();
    if (!positive(sweep.duration_s))
        return usage_error(fmt::format("The sweep lasts {} s; give a duration above 0.", sweep.duration_s));
    const double length = std::round(sweep.duration_s * sweep.sample_rate_hz);
    if (auto status = check_length(length + static_cast<double>(sweep.lead_in_frames) +
                                   static_cast<double>(sweep.lead_out_frames));
        !status)
        return status.error();
    const auto frames = static_cast<std::size_t>(length);
    if (frames < shortest_sweep)
        return usage_error(fmt::format("The sweep lasts {} frames; give at least {}.", frames, shortest_sweep));
    if (2 * sweep.fade_frames > frames)
        return usage_error(
            fmt::format("Two fades of {} frames do not fit into a sweep of {} frames.", sweep.fade_frames, frames));

    // x(t) = sin{ 2 pi f1 T / ln(f2/f1) [exp(t/T ln(f2/f1)) - 1] }; expm1 keeps the first cycles exact.
    const double rate = std::log(sweep.band.high_hz / sweep.band.low_hz);
    const double scale = 2.0 * pi * sweep.band.low_hz * sweep.duration_s / rate;
    const double level = full_scale_of(sweep.level_dbfs);
    std::vector<double> signal(sweep.lead_in_frames + frames + sweep.lead_out_frames, 0.0);
    for (std::size_t n = 0; n < frames; ++n) {
        const double relative = static_cast<double>(n) / sweep.sample_rate_hz / sweep.duration_s;
        double value = level * std::sin(scale * std::expm1(relative * rate));
        if (n < sweep.fade_frames) value *= ramp(n, sweep.fade_frames);
        if (frames - 1 - n < sweep.fade_frames) value *= ramp(frames - 1 - n, sweep.fade_frames);
        signal[sweep.lead_in_frames + n] = value;
    }
    return signal;
}

Result<std::vector<double>> render(const ToneBurst& burst) {
    if (auto status = check_rate_and_level(burst.sample_rate_hz, burst.level_dbfs); !status) return status.error();
    if (!positive(burst.frequency_hz) || burst.frequency_hz >= burst.sample_rate_hz / 2)
        return usage_error(fmt::format("The burst is at {} Hz; give a frequency between 0 and {} Hz.",
                                       burst.frequency_hz, burst.sample_rate_hz / 2));
    if (burst.cycles < 1) return usage_error("The burst has no cycle; give at least 1.");
    const double length = std::ceil(static_cast<double>(burst.cycles) * burst.sample_rate_hz / burst.frequency_hz);
    if (auto status = check_length(length + static_cast<double>(burst.lead_in_frames) +
                                   static_cast<double>(burst.lead_out_frames));
        !status)
        return status.error();

    // From one zero crossing to another: frames 0 .. ceil(cycles fs / f) - 1 lie before the last crossing.
    const auto frames = static_cast<std::size_t>(length);
    const double level = full_scale_of(burst.level_dbfs);
    const double turns_per_frame = burst.frequency_hz / burst.sample_rate_hz;
    std::vector<double> signal(burst.lead_in_frames + frames + burst.lead_out_frames, 0.0);
    for (std::size_t n = 0; n < frames; ++n) {
        const double turns = static_cast<double>(n) * turns_per_frame;
        signal[burst.lead_in_frames + n] = level * std::sin(2.0 * pi * (turns - std::floor(turns)));
    }
    return signal;
}

}  // namespace coldtune::dsp
