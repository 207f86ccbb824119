// The audio callback alone (wanted: under 5 % of its deadline), and through a private JACK server with its dummy
// backend, at real speed: how long the sound goes on after a stop was asked for, and how late a live reading comes
// after its last sample. Wanted: silence within 50 ms, readings drawn within 30 ms (99th percentile, one period of 2^15
// frames at 192 kHz).
#include <benchmark/benchmark.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <memory>
#include <numbers>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/audio/shared_stream.hpp"
#include "analyzer/audio/stream_copier.hpp"
#include "analyzer/measure/curves.hpp"
#include "analyzer/measure/follow.hpp"
#include "tests/bench/plot_window.hpp"
#include "tests/support/jack_server.hpp"
#include "tests/support/tape.hpp"

namespace coldtune {
namespace {

constexpr int kRate = 192000;

audio::SweepRequest tone(const testing::JackCoil& coil) {
    audio::SweepRequest request;
    request.device = coil.name();
    request.sample_rate_hz = coil.rate_hz();
    request.stimulus.resize(static_cast<std::size_t>(20 * coil.rate_hz()));
    for (std::size_t i = 0; i < request.stimulus.size(); ++i) {
        request.stimulus[i] = 0.5 * std::sin(2 * std::numbers::pi * 0.01 * static_cast<double>(i));
    }
    return request;
}

// Time from the stop to the last frame that sounds, as the server's client hears it; the period is what a buffer costs.
void StopToSilence(benchmark::State& state) {
    testing::ServerOptions options;
    options.rate_hz = kRate;
    options.period_frames = 1024;
    const testing::JackServer server(options);
    std::vector<double> milliseconds;
    for (auto _ : state) {
        const testing::JackCoil coil({"--hookup", "bypass"});
        const testing::Tape& tape = coil.tape();
        std::stop_source stop;
        std::size_t at_stop = 0;
        const auto recording =
            audio::make_portaudio_port()->play_and_record(tone(coil), stop.get_token(), [&](const audio::Progress& p) {
                if (p.fraction < 0.02 || at_stop > 0) return;
                at_stop = tape.recorded().size();
                stop.request_stop();
            });
        if (recording.ok() || recording.error().message != "stopped") {
            state.SkipWithError("the stop was not followed");
            return;
        }
        std::size_t last_sound = at_stop;
        const auto samples = tape.recorded();
        for (std::size_t i = at_stop; i < samples.size(); ++i) {
            if (samples[i] != 0) last_sound = i;
        }
        milliseconds.push_back(1e3 * static_cast<double>(last_sound - at_stop) / kRate);
        state.SetIterationTime(milliseconds.back() / 1e3);
    }
    std::sort(milliseconds.begin(), milliseconds.end());
    state.counters["longest_ms"] = milliseconds.back();
    state.counters["median_ms"] = milliseconds[milliseconds.size() / 2];
}
BENCHMARK(StopToSilence)->Iterations(8)->UseManualTime()->Unit(benchmark::kMillisecond);

// The audio callback: one buffer of two inputs and two outputs into a held stream that loops.
void Callback(benchmark::State& state) {
    const auto frames = static_cast<std::size_t>(state.range(0));
    auto stream = audio::SharedStream::create(32768, 16 * 32768);
    if (!stream) throw std::runtime_error(stream.error().message);
    audio::StreamBlock& block = stream->block();
    block.held = 1;
    block.ramp_frames = 256;
    block.coil_input = 1;
    block.job_stimulus_frames = 32768;
    block.job_total_frames = 16 * 32768;
    block.job_looped = 1;
    const std::atomic<bool> interrupted = false;
    audio::StreamCopier copier(*stream, 2, 2, 0, interrupted);
    block.job = 1;
    const std::vector<float> in(2 * frames, 0.25F);
    std::vector<float> out(2 * frames);
    for (auto _ : state) {
        copier.process(in.data(), out.data(), frames, {});
        benchmark::DoNotOptimize(out.data());
    }
    const double deadline_s = static_cast<double>(frames) / kRate;
    state.counters["deadline_us"] = 1e6 * deadline_s;
}
BENCHMARK(Callback)->Arg(64)->Arg(1024)->Unit(benchmark::kMicrosecond);

// A reading as the window draws it: the curve with its band, the fitted one over it.
gui::PlotScene scene_of(const measure::MeasurementResult& result) {
    gui::PlotScene scene;
    const auto fitted = measure::fitted_curve(result);
    for (const auto quantity : {measure::Quantity::admittance_magnitude, measure::Quantity::admittance_phase}) {
        gui::PlotPane pane{
            std::string(measure::quantity_name(quantity)), std::string(measure::quantity_unit(quantity)), {}};
        const auto add = [&](const measure::Curve& curve, gui::CurveLook look) {
            auto trace = measure::trace_of(curve, quantity);
            auto data = std::make_shared<gui::CurveData>();
            data->x = std::move(trace.frequency_hz);
            data->y = std::move(trace.value);
            data->half_width = std::move(trace.half_width_95);
            pane.curves.push_back({std::move(data), look, gui::light_theme().run_color(0)});
        };
        add(result.curve, gui::CurveLook::measured);
        if (fitted) add(*fitted, gui::CurveLook::fitted);
        scene.panes.push_back(std::move(pane));
    }
    return scene;
}

// From the last sample of a period to the plot drawn, but for the screen: its own refresh, 17 ms at most, comes on top.
void LiveReading(benchmark::State& state) {
    constexpr std::size_t kReadings = 300;
    // A late client delays this server in place of leaving a gap.
    const testing::JackServer server(testing::patient);
    const testing::JackCoil coil({"--frequency", "60e3", "--q", "120", "--resistance", "190", "--input-r", "1e6",
                                  "--input-c", "150e-12", "--noise-dbfs", "-100"});
    gui::PlotWindow window;
    std::vector<double> found_ms, drawn_ms;
    for (auto _ : state) {
        measure::FollowSettings settings;
        settings.session.device = coil.name();
        settings.session.sample_rate_hz = kRate;
        settings.session.period_frames = 32768;
        settings.session.bench = {10e3, 1e6, 150e-12, 0};
        settings.bench.bench = settings.session.bench;
        std::stop_source stop;
        const auto port = audio::make_portaudio_port();
        const Status status = measure::follow(*port, settings, stop.get_token(),
                                              [&](measure::FollowReading&& reading) {
                                                  if (reading.result.resonance() == nullptr)
                                                      return state.SkipWithError("a reading without a resonance");
                                                  const auto begin = std::chrono::steady_clock::now();
                                                  window.show(scene_of(reading.result));
                                                  window.frame();
                                                  const std::chrono::duration<double, std::milli> drawing =
                                                      std::chrono::steady_clock::now() - begin;
                                                  found_ms.push_back(1e3 * reading.late_s);
                                                  drawn_ms.push_back(found_ms.back() + drawing.count());
                                                  if (reading.number == kReadings) stop.request_stop();
                                              },
                                              {});
        if (!status) state.SkipWithError(status.error().message.c_str());
    }
    if (drawn_ms.empty()) return;
    const auto count = [&](const char* name, std::vector<double>& values) {
        std::sort(values.begin(), values.end());
        state.counters[std::string("median_") + name] = values[values.size() / 2];
        state.counters[std::string("p99_") + name] = values[values.size() * 99 / 100];
    };
    count("result_ms", found_ms);
    count("drawn_ms", drawn_ms);
}
BENCHMARK(LiveReading)->Iterations(1)->Unit(benchmark::kSecond);

}  // namespace
}  // namespace coldtune
