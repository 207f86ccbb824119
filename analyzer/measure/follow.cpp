#include "analyzer/measure/follow.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <thread>
#include <utility>

#include "analyzer/measure/analysis_context.hpp"
#include "analyzer/measure/session_parts.hpp"

namespace coldtune::measure {
namespace {

using Clock = std::chrono::steady_clock;

constexpr double kUpdate_s = 1.0 / 6;         // one period
constexpr double kLongestUpdate_s = 1.0;      // for a resonance too narrow for the bins of a short one
constexpr double kLiveBinsPerBandwidth = 12;  // that the fit wants
constexpr double kWidthInBandwidths = 3;      // of the concentrated part, either side
constexpr double kWidthRelative = 0.02;       // at least: room for a hand
constexpr double kRefocus = 0.7;              // of that width
constexpr int kLostAfter = 4;                 // readings without a resonance
constexpr std::size_t kPeriodsNarrow = 2;     // evaluated at once while the resonance is in view
constexpr std::size_t kPeriodsWide = 6;       // and while only the curve below it is
constexpr std::size_t kMargin = 20;           // a twentieth of a period more, for an onset found late
constexpr double kSettle_s = 0.35;            // after a new loop began: latency and ringing
constexpr std::size_t kPeriodsKept = 16;
constexpr int kSpoiledInARow = 30;  // stretches with a late buffer in them, before it is given up

double peak(const std::vector<double>& samples) {
    double highest = 0;
    for (const double x : samples) highest = std::max(highest, std::abs(x));
    return highest;
}

std::size_t loop_period(const SessionSettings& settings, const CoarseView& seen) {
    if (settings.period_frames) return *settings.period_frames;
    const double rate = settings.sample_rate_hz;
    double wanted = kUpdate_s * rate;
    if (seen.frequency_hz && seen.q) {
        wanted = std::max(wanted, kLiveBinsPerBandwidth * rate * *seen.q / *seen.frequency_hz);
    }
    return dsp::choose_period(frames_of(std::min(wanted, kLongestUpdate_s * rate) / rate, rate));
}

// One loop with one focus, until the resonance has moved out of it.
class Loop {
public:
    Loop(audio::HeldStream& held, const FollowSettings& settings, AnalysisContext& context)
        : held_(held), context_(context), request_(settings.bench), settings_(settings.session) {
        request_.settled = true;
        request_.hookup = settings_.hookup;
    }

    // `periods`: that are evaluated together.
    Status begin(const dsp::PeriodicSweep& sweep, std::size_t periods) {
        sweep_ = sweep;
        periods_ = periods;
        const auto period = dsp::sweep_period(sweep_);
        if (!period) return period.error();
        if (auto begun = held_.loop(*period, kPeriodsKept * sweep_.period_frames); !begun) return begun.error();
        request_.period_frames = sweep_.period_frames;
        late_ = held_.late_buffers();
        const std::size_t settle = frames_of(kSettle_s, settings_.sample_rate_hz);
        count_ = periods_ * sweep_.period_frames + sweep_.period_frames / kMargin;
        next_end_ = settle + count_;
        return Done{};
    }

    // Waits for the next stretch and evaluates it; empty when stopped.
    Result<std::optional<FollowReading>> next(const std::stop_token& stop) {
        std::uint64_t frames = 0;
        while (true) {
            if (stop.stop_requested()) return std::optional<FollowReading>{};
            const auto recorded = held_.recorded_frames();
            if (!recorded) return recorded.error();
            frames = *recorded;
            if (frames >= next_end_) {
                const std::size_t late = held_.late_buffers();
                if (late == late_) break;
                // What lies across a gap does not belong together: a whole stretch after it.
                late_ = late;
                next_end_ = frames + count_;
                if (++spoiled_ > kSpoiledInARow) {
                    return device_error(
                        "buffers come late all the time; close other programs or give the interface larger buffers");
                }
            }
            std::this_thread::sleep_for(std::chrono::milliseconds(1));
        }
        const auto seen_at = Clock::now();
        // Where the last one took too long, the stretches in between are left out.
        const std::uint64_t step = sweep_.period_frames;
        const std::uint64_t end = next_end_ + (frames - next_end_) / step * step;
        next_end_ = end + step;
        auto capture = held_.read(end - count_, count_);
        if (!capture) return capture.error();
        spoiled_ = 0;
        FollowReading reading;
        reading.period_s = static_cast<double>(step) / settings_.sample_rate_hz;
        reading.at_s = static_cast<double>(end) / settings_.sample_rate_hz;
        reading.peak_generator = peak(capture->generator);
        reading.peak_coil = peak(capture->coil);
        request_.coil.capture = std::move(*capture);
        auto result = analyze_prepared(request_, context_);
        if (!result) return result.error();
        reading.result = std::move(*result);
        const double waited_s = static_cast<double>(frames - end) / settings_.sample_rate_hz;
        reading.late_s = waited_s + std::chrono::duration<double>(Clock::now() - seen_at).count();
        return std::optional<FollowReading>(std::move(reading));
    }

private:
    audio::HeldStream& held_;
    AnalysisContext& context_;
    AnalysisRequest request_;
    const SessionSettings& settings_;
    dsp::PeriodicSweep sweep_;
    std::size_t periods_ = 2, count_ = 0, late_ = 0;
    int spoiled_ = 0;
    std::uint64_t next_end_ = 0;
};

Result<CoarseView> coarse_look(audio::HeldStream& held, const SessionSettings& settings, const AnalysisContext& context,
                               const std::stop_token& stop, const SessionProgressCallback& progress) {
    dsp::PeriodicSweep sweep = flat_sweep(settings);
    if (settings.period_frames) {
        // That of the loop says nothing about how finely to look first.
        SessionSettings free = settings;
        free.period_frames.reset();
        sweep = flat_sweep(free);
    }
    make_coarse(sweep, settings);
    auto signal = dsp::render(sweep);
    if (!signal) return signal.error();
    const std::size_t tail = tail_frames(settings.sample_rate_hz);
    const double duration_s = static_cast<double>(signal->size() + tail) / settings.sample_rate_hz;
    auto recording =
        held.play_and_record(*signal, tail, stop, step_progress(progress, 1, 1, "coarse sweep", duration_s));
    if (!recording) return recording.error();
    return look(recording->capture, sweep.period_frames, settings, context.standards);
}

void focus_on(dsp::PeriodicSweep& sweep, double frequency_hz, double q) {
    const double half = std::max(kWidthInBandwidths * frequency_hz / q, kWidthRelative * frequency_hz);
    sweep.focus = dsp::PeriodicSweep::Focus{frequency_hz, half, 20};
}

}  // namespace

Status follow(audio::AudioPort& port, const FollowSettings& settings, const std::stop_token& stop,
              const FollowCallback& callback, const SessionProgressCallback& progress) {
    const SessionSettings& session = settings.session;
    if (auto status = check_settings(session); !status) return status.error();
    if (!bench::seeks_resonance(session.hookup) || session.hookup == bench::Hookup::winding) {
        return usage_error("there is no resonance to follow at this hookup; use foot, tank or pickup");
    }
    if (session.generator_input == session.coil_input) {
        return usage_error("the generator side and the coil side need different inputs");
    }
    AnalysisRequest bench = settings.bench;
    bench.hookup = session.hookup;
    bench.coil.capture.sample_rate_hz = session.sample_rate_hz;  // the standards must be of this rate
    auto context = prepare(bench);
    if (!context) return context.error();

    audio::HoldRequest request;
    request.device = session.device;
    request.sample_rate_hz = session.sample_rate_hz;
    request.output_channel = session.output_channel;
    request.generator_input = session.generator_input;
    request.coil_input = session.coil_input;
    request.outlives_late_buffers = true;
    const std::size_t longest =
        std::max(session.period_frames.value_or(0), frames_of(1.1 * kLongestUpdate_s, session.sample_rate_hz));
    request.most_stimulus_frames = std::max(longest, frames_of(4, session.sample_rate_hz));
    request.most_recorded_frames = std::max(kPeriodsKept * longest, frames_of(5, session.sample_rate_hz));
    auto held = port.hold(request);
    if (!held) return held.error();

    auto seen = coarse_look(**held, session, *context, stop, progress);
    if (!seen) return stop.stop_requested() ? Status(Done{}) : Status(seen.error());
    if (Status sound = check_head(*seen, session); !sound) return sound;
    dsp::PeriodicSweep sweep = flat_sweep(session);
    sweep.periods = 1;
    sweep.level_dbfs = level_after(*seen, session);
    sweep.period_frames = loop_period(session, *seen);
    // At the wire no Q of the coil is found that would keep a narrow sweep in its place.
    bool narrow = seen->frequency_hz && seen->q && session.hookup != bench::Hookup::pickup;
    if (narrow) focus_on(sweep, *seen->frequency_hz, *seen->q);
    Loop loop(**held, settings, *context);
    if (auto begun = loop.begin(sweep, narrow ? kPeriodsNarrow : kPeriodsWide); !begun) return begun;

    int lost = 0;
    for (std::size_t number = 1;; ++number) {
        auto reading = loop.next(stop);
        if (!reading) return reading.error();
        if (!*reading) return Done{};
        const Resonance* resonance = (*reading)->result.resonance();
        const bool in_view = resonance != nullptr && resonance->way == Way::in_band && resonance->q;
        lost = in_view ? 0 : lost + 1;
        std::optional<dsp::PeriodicSweep> other;
        if (in_view && (!sweep.focus || std::abs(resonance->frequency_hz - sweep.focus->centre_hz) >
                                            kRefocus * sweep.focus->half_width_hz)) {
            other = sweep;
            focus_on(*other, resonance->frequency_hz, *resonance->q);
        } else if (lost >= kLostAfter && sweep.focus) {
            other = sweep;
            other->focus.reset();
        }
        (*reading)->number = number;
        callback(std::move(**reading));
        if (other) {
            sweep = *other;
            narrow = sweep.focus.has_value();
            lost = 0;
            if (auto begun = loop.begin(sweep, narrow ? kPeriodsNarrow : kPeriodsWide); !begun) return begun;
        }
    }
}

}  // namespace coldtune::measure
