#include "analyzer/measure/session_parts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/in_band.hpp"
#include "analyzer/measure/pair_fit.hpp"
#include "analyzer/measure/pickup.hpp"
#include "analyzer/record/utc_time.hpp"
#include "dsp/resonance_fit.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {
namespace {

constexpr double kPeriod_s = 2.0 / 3.0;  // bins 1.5 Hz apart
constexpr double kLeadIn_s = 0.05;
constexpr double kTail_s = 0.3;  // latency of the interface and the coil's ring-down
constexpr double kFade_s = 0.005;
constexpr double kFinal_s = 6.0;          // of the second sweep
constexpr double kBinsPerBandwidth = 10;  // the fit wants at least this many bins across f0/Q
// A few bandwidths around a peak hold nearly all the information about it.
constexpr double kFocusBandwidths = 3;
constexpr double kFinerWhenTooCoarse = 6;
constexpr double kMinimumWidthBins = 12;  // of the coarse sweep, around a peak it could not resolve
constexpr double kLongestPeriod_s = 8.0;
constexpr std::size_t kCoarsePeriods = 3;  // one settles

// Through the reference resistor into the foot, the head left free.
bool drives_head(bench::Hookup hookup) {
    return hookup == bench::Hookup::foot || hookup == bench::Hookup::pickup;
}

CoarseView view_of(const PairFit& fit, double reference_ohm) {
    const PairParameters& pair = fit.value;
    const double centre = 0.5 * (fit.resonance_hz[0] + fit.resonance_hz[1]);
    const double widest = centre / std::min(pair.primary_q, pair.secondary_q);
    CoarseView view{centre,
                    std::max(pair.primary_q, pair.secondary_q),
                    0.5 * (fit.resonance_hz[1] - fit.resonance_hz[0]) + kFocusBandwidths * widest,
                    {},
                    {}};
    // What the tank reflects into the secondary can only lower the current that a given voltage drives through it.
    view.head_q = loaded_q(reference_ohm, pair.secondary_q, 1 / (pair.strength_s * pair.secondary_q));
    return view;
}

// Reached further than at the foot: the form of this curve shows in its skirts.
CoarseView look_at_pickup(const dsp::Response& response, const SessionSettings& settings) {
    const PickupOutcome outcome = find_pickup(response, settings.bench, {}, flat_sweep(settings).band, nullptr);
    const auto* found = std::get_if<Resonance>(&outcome);
    if (found == nullptr || !found->loaded_q) return {};
    const double f = found->frequency_hz, q = *found->loaded_q;
    return {f, q, 2 * kFocusBandwidths * f / q, {}, q};
}

}  // namespace

std::size_t frames_of(double seconds, double rate_hz) {
    return static_cast<std::size_t>(std::llround(seconds * rate_hz));
}

std::size_t tail_frames(double rate_hz) {
    return frames_of(kTail_s, rate_hz);
}

Status check_settings(const SessionSettings& s) {
    if (!(s.sample_rate_hz >= 8000 && s.sample_rate_hz <= 384000)) {
        return usage_error(fmt::format("a sample rate of {} Hz is outside 8000 to 384000", s.sample_rate_hz));
    }
    if (!(s.level_dbfs <= 0 && s.level_dbfs >= -80)) {
        return usage_error(fmt::format("a level of {} dBFS is outside -80 to 0; -6 is a good start", s.level_dbfs));
    }
    if (!(s.head.output_peak_v > 0 && s.head.output_peak_v <= 1000 && s.head.most_peak_v > 0 &&
          s.head.most_peak_v <= 1e5)) {
        return usage_error(fmt::format("an output of {} V at full scale or a head limit of {} V cannot be meant",
                                       s.head.output_peak_v, s.head.most_peak_v));
    }
    if (s.periods && (*s.periods < 2 || *s.periods > 1000)) {
        return usage_error("the number of periods must be 2 to 1000: the first settles, the others are averaged");
    }
    return Done{};
}

dsp::Band default_band(double sample_rate_hz) {
    return {1000.0, 0.45 * sample_rate_hz};
}

dsp::PeriodicSweep flat_sweep(const SessionSettings& settings) {
    const double rate = settings.sample_rate_hz;
    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = rate;
    sweep.period_frames = settings.period_frames.value_or(dsp::choose_period(frames_of(kPeriod_s, rate)));
    sweep.band = settings.band.value_or(default_band(rate));
    sweep.level_dbfs = settings.level_dbfs;
    sweep.lead_in_frames = frames_of(kLeadIn_s, rate);
    sweep.fade_frames = frames_of(kFade_s, rate);
    return sweep;
}

void make_coarse(dsp::PeriodicSweep& sweep, const SessionSettings& settings) {
    sweep.periods = kCoarsePeriods;
    if (drives_head(settings.hookup)) {
        sweep.level_dbfs = first_look_level_dbfs(settings.head, settings.level_dbfs, settings.bench.reference_ohm);
    }
}

CoarseView look(const dsp::TwoChannelCapture& capture, std::size_t period_frames, const SessionSettings& settings,
                const dsp::Standards& standards) {
    dsp::PeriodicOptions options;
    options.period_frames = period_frames;
    const auto response = dsp::periodic_response(capture, options);
    if (!response) return {};
    if (settings.hookup == bench::Hookup::pickup) return look_at_pickup(*response, settings);
    const auto corrected = dsp::correct(*response, standards, settings.bench);
    if (!corrected) return {};
    if (settings.coupled) {
        const PairFitOutcome pair = fit_pair(*corrected, usual_shape());
        if (const auto* fit = std::get_if<PairFit>(&pair)) return view_of(*fit, settings.bench.reference_ohm);
    }
    const auto form =
        settings.hookup == bench::Hookup::foot ? dsp::ResonanceForm::series : dsp::ResonanceForm::parallel;
    const dsp::FitOutcome outcome = dsp::fit_resonance(*corrected, form, fit_options(settings.hookup));
    if (const auto* fit = std::get_if<dsp::ResonanceFit>(&outcome)) {
        CoarseView view{fit->frequency_hz, fit->q, kFocusBandwidths * fit->frequency_hz / fit->q, {}, {}};
        if (settings.hookup == bench::Hookup::foot) {
            view.head_q = loaded_q(settings.bench.reference_ohm, fit->q, fit->resistance_ohm);
        }
        // One of two coupled circuits steers nothing, but it drives the head.
        if (settings.coupled) return {{}, {}, 0, {}, view.head_q};
        return view;
    }
    if (std::get<dsp::NoFit>(outcome).reason != dsp::NoFit::Reason::too_coarse) return {};
    const std::vector<dsp::Peak> peaks = dsp::find_peaks(*corrected, form);
    if (peaks.empty()) return {};
    return {std::nullopt, std::nullopt, 0, peaks.front().frequency_hz, {}};
}

Status check_head(const CoarseView& view, const SessionSettings& settings) {
    if (!view.head_q) return Done{};
    return check_head(settings.head, settings.level_dbfs, *view.head_q);
}

double level_after(const CoarseView& view, const SessionSettings& settings) {
    if (!view.narrow_peak_hz || !drives_head(settings.hookup)) return settings.level_dbfs;
    return first_look_level_dbfs(settings.head, settings.level_dbfs, settings.bench.reference_ohm);
}

void concentrate(dsp::PeriodicSweep& sweep, const CoarseView& view, const SessionSettings& settings) {
    sweep.level_dbfs = level_after(view, settings);
    const double rate = settings.sample_rate_hz;
    const double coarse_spacing_hz = rate / static_cast<double>(sweep.period_frames);
    const bool found = view.frequency_hz && view.q;
    if (!settings.period_frames) {
        const double longest = kLongestPeriod_s * rate;
        double wanted = static_cast<double>(sweep.period_frames);
        if (found) wanted = std::max(wanted, kBinsPerBandwidth * rate * *view.q / *view.frequency_hz);
        if (view.narrow_peak_hz) wanted *= kFinerWhenTooCoarse;
        sweep.period_frames = dsp::choose_period(static_cast<std::size_t>(std::min(wanted, longest)));
    }
    if (found) {
        // The floor keeps the rest of the band in view.
        sweep.focus = dsp::PeriodicSweep::Focus{*view.frequency_hz, view.half_width_hz, 20};
    } else if (view.narrow_peak_hz) {
        sweep.focus = dsp::PeriodicSweep::Focus{*view.narrow_peak_hz, coarse_spacing_hz * kMinimumWidthBins, 20};
    }
}

void make_final(dsp::PeriodicSweep& sweep, const SessionSettings& settings) {
    const double period_s = static_cast<double>(sweep.period_frames) / settings.sample_rate_hz;
    const auto by_time = static_cast<std::size_t>(std::clamp(std::round(kFinal_s / period_s), 3.0, 12.0));
    sweep.periods = settings.periods.value_or(by_time + 1);
}

audio::ProgressCallback step_progress(const SessionProgressCallback& progress, int step, int steps, const char* what,
                                      double duration_s) {
    return [&progress, step, steps, what, duration_s](const audio::Progress& p) {
        if (!progress) return;
        progress({step, steps, what, p.fraction, (1 - p.fraction) * duration_s, p.peak_generator, p.peak_coil});
    };
}

const char* name_of_final(const CoarseView& view) {
    return view.frequency_hz ? "concentrated sweep" : "long sweep";
}

audio::CaptureFile keep(dsp::TwoChannelCapture capture, const dsp::PeriodicSweep& sweep, bench::Hookup hookup,
                        const SessionSettings& settings) {
    audio::CaptureFile file;
    file.capture = std::move(capture);
    file.floating = true;
    file.bits = 32;
    audio::CaptureNote note;
    note.hookup = bench::describe(hookup).name;
    note.period_frames = sweep.period_frames;
    note.settle_periods = 1;
    note.reference_ohm = settings.bench.reference_ohm;
    note.device = settings.device;
    note.time_utc = record::utc_now();
    note.program_version = COLDTUNE_VERSION;
    file.note = std::move(note);
    return file;
}

}  // namespace coldtune::measure
