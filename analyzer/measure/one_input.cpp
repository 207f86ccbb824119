#include "analyzer/measure/one_input.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <random>
#include <utility>

#include "analyzer/measure/session_parts.hpp"
#include "analyzer/record/utc_time.hpp"
#include "dsp/delay.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {
namespace {

constexpr double kLongestFinal_s = 34;  // four of the longest periods and a little more

// The longest sweep that the session may come to play.
std::size_t most_stimulus_frames(const SessionSettings& settings) {
    const dsp::PeriodicSweep flat = flat_sweep(settings);
    std::size_t longest = frames_of(kLongestFinal_s, settings.sample_rate_hz);
    const std::size_t period = settings.period_frames.value_or(frames_of(8.0, settings.sample_rate_hz));
    if (settings.periods) longest = std::max(longest, *settings.periods * period);
    if (settings.period_frames) longest = std::max(longest, std::size_t{14} * period);
    return longest + flat.lead_in_frames + 2 * flat.fade_frames + frames_of(1.0, settings.sample_rate_hz);
}

// A name that no other stream has, so that captures can tell whether they belong together.
std::string stream_name() {
    std::random_device random;
    return fmt::format("{} {:08x}", record::utc_now(), random());
}

class Stream {
public:
    Stream(audio::HeldStream& held, const SessionSettings& settings, std::stop_token stop,
           const SessionProgressCallback& progress, int steps)
        : held_(held), settings_(settings), stop_(std::move(stop)), progress_(progress), steps_(steps) {}

    // Plays and puts the stimulus, delayed as the interface delays it, into channel 1.
    Result<dsp::TwoChannelCapture> play(const dsp::PeriodicSweep& sweep, const char* what) {
        ++step_;
        auto signal = dsp::render(sweep);
        if (!signal) return signal.error();
        const std::size_t tail = tail_frames(settings_.sample_rate_hz);
        const double duration_s = static_cast<double>(signal->size() + tail) / settings_.sample_rate_hz;
        auto recording =
            held_.play_and_record(*signal, tail, stop_, step_progress(progress_, step_, steps_, what, duration_s));
        if (!recording) return recording.error();
        dsp::TwoChannelCapture capture = std::move(recording->capture);
        if (!delay_frames_) {
            delay_frames_ = dsp::find_delay(*signal, capture.coil, tail);
            if (!delay_frames_) {
                return device_error(
                    fmt::format("input {} does not hear the sweep; check the lead from the line output through the "
                                "resistor to that input, and its gain",
                                settings_.coil_input + 1));
            }
        }
        std::fill(capture.generator.begin(), capture.generator.end(), 0.0);
        const std::size_t shared = std::min(signal->size(), capture.frames() - *delay_frames_);
        std::copy_n(signal->begin(), shared, capture.generator.begin() + static_cast<std::ptrdiff_t>(*delay_frames_));
        return capture;
    }

    [[nodiscard]] std::size_t delay_frames() const { return delay_frames_.value_or(0); }

private:
    audio::HeldStream& held_;
    const SessionSettings& settings_;
    std::stop_token stop_;
    const SessionProgressCallback& progress_;
    int step_ = 0, steps_ = 1;
    std::optional<std::size_t> delay_frames_;
};

Result<dsp::Response> response_of(const dsp::TwoChannelCapture& capture, const dsp::PeriodicSweep& sweep) {
    dsp::PeriodicOptions options;
    options.period_frames = sweep.period_frames;
    return dsp::periodic_response(capture, options);
}

}  // namespace

Result<OneInputRecord> run_one_input_session(audio::AudioPort& port, const SessionSettings& settings, bool with_short,
                                             const ConnectCallback& connect, std::stop_token stop,
                                             const SessionProgressCallback& progress) {
    if (auto status = check_settings(settings); !status) return status.error();
    if (!bench::seeks_resonance(settings.hookup) || settings.hookup == bench::Hookup::pickup) {
        return usage_error(
            "with one input the hookup is foot, winding or tank: the standards are taken on the way, and a pickup "
            "needs the second input");
    }
    audio::HoldRequest request;
    request.device = settings.device;
    request.sample_rate_hz = settings.sample_rate_hz;
    request.output_channel = settings.output_channel;
    request.generator_input = request.coil_input = settings.coil_input;
    request.most_stimulus_frames = most_stimulus_frames(settings);
    request.most_recorded_frames = request.most_stimulus_frames + tail_frames(settings.sample_rate_hz);
    auto held = port.hold(request);
    if (!held) return held.error();

    std::vector<bench::Hookup> wanted{bench::Hookup::open, bench::Hookup::load};
    if (with_short) wanted.push_back(bench::Hookup::short_circuit);
    Stream stream(**held, settings, std::move(stop), progress, static_cast<int>(wanted.size()) + 2);
    const std::string name = stream_name();
    OneInputRecord record;
    const auto keep_in_stream = [&](dsp::TwoChannelCapture capture, const dsp::PeriodicSweep& sweep,
                                    bench::Hookup hookup) {
        audio::CaptureFile file = keep(std::move(capture), sweep, hookup, settings);
        file.note->held_stream = name;
        return file;
    };

    dsp::Standards standards;
    for (const bench::Hookup hookup : wanted) {
        if (!connect(hookup)) return rejected("stopped");
        dsp::PeriodicSweep sweep = flat_sweep(settings);
        make_final(sweep, settings);
        auto capture = stream.play(sweep, bench::describe(hookup).name.data());
        if (!capture) return capture.error();
        auto response = response_of(*capture, sweep);
        if (response) {
            (hookup == bench::Hookup::open   ? standards.open
             : hookup == bench::Hookup::load ? standards.load
                                             : standards.short_circuit) = std::move(*response);
        }
        record.standards[hookup] = keep_in_stream(std::move(*capture), sweep, hookup);
    }

    if (!connect(settings.hookup)) return rejected("stopped");
    dsp::PeriodicSweep sweep = flat_sweep(settings);
    make_coarse(sweep, settings);
    auto coarse = stream.play(sweep, "coarse sweep");
    if (!coarse) return coarse.error();
    const CoarseView seen = look(*coarse, sweep.period_frames, settings, standards);
    if (Status sound = check_head(seen, settings); !sound) return sound.error();
    concentrate(sweep, seen, settings);
    make_final(sweep, settings);
    auto capture = stream.play(sweep, name_of_final(seen));
    if (!capture) return capture.error();
    record.coil.capture = keep_in_stream(std::move(*capture), sweep, settings.hookup);
    record.coil.sweep = sweep;
    record.coil.coarse_frequency_hz = seen.frequency_hz;
    record.delay_frames = stream.delay_frames();
    return record;
}

}  // namespace coldtune::measure
