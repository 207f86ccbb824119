#include "analyzer/measure/session.hpp"

#include "analyzer/measure/session_parts.hpp"

namespace coldtune::measure {
namespace {

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
        request.tail_frames = tail_frames(settings_.sample_rate_hz);
        const double duration_s =
            static_cast<double>(request.stimulus.size() + request.tail_frames) / settings_.sample_rate_hz;
        return port_.play_and_record(request, stop_, step_progress(progress_, step, steps, what, duration_s));
    }

private:
    audio::AudioPort& port_;
    const SessionSettings& settings_;
    std::stop_token stop_;
    const SessionProgressCallback& progress_;
};

}  // namespace

Result<SessionRecord> run_session(audio::AudioPort& port, const SessionSettings& settings, std::stop_token stop,
                                  const SessionProgressCallback& progress) {
    if (auto status = check_settings(settings); !status) return status.error();
    if (settings.generator_input == settings.coil_input) {
        return usage_error("the generator side and the coil side need different inputs");
    }
    dsp::PeriodicSweep sweep = flat_sweep(settings);
    Player player(port, settings, std::move(stop), progress);
    CoarseView seen;
    const bool two_steps = bench::seeks_resonance(settings.hookup);
    if (two_steps) {
        make_coarse(sweep, settings);
        auto coarse = player.play(sweep, 1, 2, "coarse sweep");
        if (!coarse) return coarse.error();
        seen = look(coarse->capture, sweep.period_frames, settings, {});
        if (Status sound = check_head(seen, settings); !sound) return sound.error();
        concentrate(sweep, seen, settings);
    }
    make_final(sweep, settings);
    auto recording =
        player.play(sweep, two_steps ? 2 : 1, two_steps ? 2 : 1, two_steps ? name_of_final(seen) : "sweep");
    if (!recording) return recording.error();

    SessionRecord record;
    record.capture = keep(std::move(recording->capture), sweep, settings.hookup, settings);
    record.sweep = sweep;
    record.coarse_frequency_hz = seen.frequency_hz;
    return record;
}

}  // namespace coldtune::measure
