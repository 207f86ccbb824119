#include "analyzer/measure/session.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "analyzer/measure/pair_fit.hpp"
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

std::size_t frames_of(double seconds, double rate_hz) {
    return static_cast<std::size_t>(std::llround(seconds * rate_hz));
}

struct Found {
    double frequency_hz = 0;
    double q = 0;
    double half_width_hz = 0;  // of what the second sweep concentrates on
};

struct CoarseOutcome {
    std::optional<Found> found;
    std::optional<double> narrow_peak_hz;  // seen, but narrower than the coarse bins can resolve
};

CoarseOutcome look(const dsp::TwoChannelCapture& capture, std::size_t period, const SessionSettings& settings) {
    dsp::PeriodicOptions options;
    options.period_frames = period;
    const auto response = dsp::periodic_response(capture, options);
    if (!response) return {};
    const auto corrected = dsp::correct(*response, {}, settings.bench);
    if (!corrected) return {};
    if (settings.coupled) {
        const PairFitOutcome pair = fit_pair(*corrected, usual_shape());
        if (const auto* fit = std::get_if<PairFit>(&pair)) {
            const double centre = 0.5 * (fit->resonance_hz[0] + fit->resonance_hz[1]);
            const double widest = centre / std::min(fit->value.primary_q, fit->value.secondary_q);
            return {Found{centre, std::max(fit->value.primary_q, fit->value.secondary_q),
                          0.5 * (fit->resonance_hz[1] - fit->resonance_hz[0]) + kFocusBandwidths * widest},
                    {}};
        }
        return {};
    }
    const auto form = settings.hookup == bench::Hookup::foot ? dsp::ResonanceForm::series : dsp::ResonanceForm::parallel;
    const dsp::FitOutcome outcome = dsp::fit_resonance(*corrected, form);
    if (const auto* fit = std::get_if<dsp::ResonanceFit>(&outcome)) {
        return {Found{fit->frequency_hz, fit->q, kFocusBandwidths * fit->frequency_hz / fit->q}, {}};
    }
    if (std::get<dsp::NoFit>(outcome).reason != dsp::NoFit::Reason::too_coarse) return {};
    const std::vector<dsp::Peak> peaks = dsp::find_peaks(*corrected, form);
    if (peaks.empty()) return {};
    return {std::nullopt, peaks.front().frequency_hz};
}

class Player {
public:
    Player(audio::AudioPort& port, const SessionSettings& settings, std::stop_token stop,
           const SessionProgressCallback& progress)
        : port_(port), settings_(settings), stop_(std::move(stop)), progress_(progress) {}

    Result<audio::Recording> play(const dsp::PeriodicSweep& sweep, int step, int steps, const char* what) {
        auto signal = dsp::render(sweep);
        if (!signal) return signal.error();
        audio::SweepRequest request;
        request.device = settings_.device;
        request.sample_rate_hz = settings_.sample_rate_hz;
        request.stimulus = std::move(*signal);
        request.output_channel = settings_.output_channel;
        request.generator_input = settings_.generator_input;
        request.coil_input = settings_.coil_input;
        request.tail_frames = frames_of(kTail_s, settings_.sample_rate_hz);
        const double duration_s =
            static_cast<double>(request.stimulus.size() + request.tail_frames) / settings_.sample_rate_hz;
        return port_.play_and_record(request, stop_, [&](const audio::Progress& p) {
            if (!progress_) return;
            progress_({step, steps, what, p.fraction, (1 - p.fraction) * duration_s, p.peak_generator, p.peak_coil});
        });
    }

private:
    audio::AudioPort& port_;
    const SessionSettings& settings_;
    std::stop_token stop_;
    const SessionProgressCallback& progress_;
};

std::string utc_now() {
    const auto now = std::chrono::time_point_cast<std::chrono::seconds>(std::chrono::system_clock::now());
    return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(std::chrono::system_clock::to_time_t(now)));
}

Status check(const SessionSettings& s) {
    if (!(s.sample_rate_hz >= 8000 && s.sample_rate_hz <= 384000)) {
        return usage_error(fmt::format("a sample rate of {} Hz is outside 8000 to 384000", s.sample_rate_hz));
    }
    if (!(s.level_dbfs <= 0 && s.level_dbfs >= -80)) {
        return usage_error(fmt::format("a level of {} dBFS is outside -80 to 0; -6 is a good start", s.level_dbfs));
    }
    if (s.periods && (*s.periods < 2 || *s.periods > 1000)) {
        return usage_error("the number of periods must be 2 to 1000: the first settles, the others are averaged");
    }
    if (s.generator_input == s.coil_input) {
        return usage_error("the generator side and the coil side need different inputs");
    }
    return Done{};
}

}  // namespace

dsp::Band default_band(double sample_rate_hz) {
    return {1000.0, 0.45 * sample_rate_hz};
}

Result<SessionRecord> run_session(audio::AudioPort& port, const SessionSettings& settings, std::stop_token stop,
                                  const SessionProgressCallback& progress) {
    if (auto status = check(settings); !status) return status.error();
    const double rate = settings.sample_rate_hz;

    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = rate;
    sweep.period_frames = settings.period_frames.value_or(dsp::choose_period(frames_of(kPeriod_s, rate)));
    sweep.band = settings.band.value_or(default_band(rate));
    sweep.level_dbfs = settings.level_dbfs;
    sweep.lead_in_frames = frames_of(kLeadIn_s, rate);
    sweep.fade_frames = frames_of(kFade_s, rate);

    Player player(port, settings, stop, progress);
    std::optional<Found> found;
    const bool two_steps = bench::seeks_resonance(settings.hookup);
    if (two_steps) {
        sweep.periods = kCoarsePeriods;
        auto coarse = player.play(sweep, 1, 2, "coarse sweep");
        if (!coarse) return coarse.error();
        const CoarseOutcome seen = look(coarse->capture, sweep.period_frames, settings);
        found = seen.found;
        const double coarse_spacing_hz = rate / static_cast<double>(sweep.period_frames);
        if (!settings.period_frames) {
            const double longest = kLongestPeriod_s * rate;
            double wanted = static_cast<double>(sweep.period_frames);
            if (found) wanted = std::max(wanted, kBinsPerBandwidth * rate * found->q / found->frequency_hz);
            if (seen.narrow_peak_hz) wanted *= kFinerWhenTooCoarse;
            sweep.period_frames = dsp::choose_period(static_cast<std::size_t>(std::min(wanted, longest)));
        }
        if (found) {
            // The floor keeps the rest of the band in view.
            sweep.focus = dsp::PeriodicSweep::Focus{found->frequency_hz, found->half_width_hz, 20};
        } else if (seen.narrow_peak_hz) {
            sweep.focus = dsp::PeriodicSweep::Focus{*seen.narrow_peak_hz, coarse_spacing_hz * kMinimumWidthBins, 20};
        }
    }
    const double period_s = static_cast<double>(sweep.period_frames) / rate;
    const auto by_time = static_cast<std::size_t>(std::clamp(std::round(kFinal_s / period_s), 3.0, 12.0));
    sweep.periods = settings.periods.value_or(by_time + 1);

    auto recording = player.play(sweep, two_steps ? 2 : 1, two_steps ? 2 : 1,
                                 !two_steps ? "sweep"
                                 : found    ? "concentrated sweep"
                                            : "long sweep");
    if (!recording) return recording.error();

    SessionRecord record;
    record.capture.capture = std::move(recording->capture);
    record.capture.floating = true;
    record.capture.bits = 32;
    record.capture.note = audio::CaptureNote{std::string(bench::describe(settings.hookup).name),
                                             sweep.period_frames,
                                             1,
                                             settings.bench.reference_ohm,
                                             settings.device,
                                             utc_now(),
                                             COLDTUNE_VERSION};
    record.sweep = sweep;
    if (found) record.coarse_frequency_hz = found->frequency_hz;
    return record;
}

}  // namespace coldtune::measure
