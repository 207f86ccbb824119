// Each step from a capture to a result, and the whole way, on 10 s of two channels at 192 kHz; and the step of live
// tuning, two periods of 2^15 frames. tests/bench/side_by_side sets them beside numpy and scipy.
#include <benchmark/benchmark.h>

#include <filesystem>
#include <stdexcept>
#include <variant>

#include "analyzer/measure/analysis_context.hpp"
#include "analyzer/measure/in_band.hpp"
#include "dsp/capture_health.hpp"
#include "tests/bench/below_band_problem.hpp"
#include "tests/bench/bench_captures.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

const dsp::TwoChannelCapture& ten_seconds() {
    static const auto capture = test::bench_capture(bench::default_bench(), bench::Hookup::foot);
    return capture;
}

dsp::PeriodicOptions one_second_periods() {
    dsp::PeriodicOptions options;
    options.period_frames = test::CaptureShape{}.period_frames;
    return options;
}

void response(benchmark::State& state) {
    const auto& capture = ten_seconds();
    for (auto _ : state) benchmark::DoNotOptimize(dsp::periodic_response(capture, one_second_periods())->averages);
}
BENCHMARK(response)->Unit(benchmark::kMillisecond);

void health(benchmark::State& state) {
    const auto& capture = ten_seconds();
    const auto response = dsp::periodic_response(capture, one_second_periods());
    for (auto _ : state) {
        benchmark::DoNotOptimize(dsp::examine(capture, one_second_periods().period_frames, &*response).coil.rms_dbfs);
    }
}
// Two threads: both count.
BENCHMARK(health)->MeasureProcessCPUTime()->UseRealTime()->Unit(benchmark::kMillisecond);

void analyze_file(benchmark::State& state) {
    const testing::ScratchFolder folder;
    const auto path = folder / "ten-seconds.wav";
    if (const Status kept = audio::write_capture(path, ten_seconds(), audio::SampleFormat::pcm24, {}); !kept) {
        throw std::runtime_error(kept.error().message);
    }
    for (auto _ : state) {
        auto file = audio::read_capture(path);
        if (!file) throw std::runtime_error(file.error().message);
        const auto result = measure::analyze(test::bench_request(std::move(file->capture), 192000));
        if (!result || result->resonance() == nullptr) state.SkipWithError("no resonance");
    }
}
BENCHMARK(analyze_file)->MeasureProcessCPUTime()->UseRealTime()->Unit(benchmark::kMillisecond);

void resonance_fit(benchmark::State& state) {
    const auto response = dsp::periodic_response(ten_seconds(), one_second_periods());
    const auto corrected = dsp::correct(*response, {}, {10e3, 1e6, 150e-12, 10e3});
    for (auto _ : state) {
        const auto fit = dsp::fit_resonance(*corrected, dsp::ResonanceForm::series);
        if (!std::holds_alternative<dsp::ResonanceFit>(fit)) state.SkipWithError("no fit");
    }
    state.counters["bins"] = static_cast<double>(corrected->frequency_hz.size());
}
BENCHMARK(resonance_fit)->Unit(benchmark::kMillisecond);

void in_band_result(benchmark::State& state) {
    const auto response = dsp::periodic_response(ten_seconds(), one_second_periods());
    const dsp::BenchValues values{10e3, 1e6, 150e-12, 10e3};
    const auto corrected = dsp::correct(*response, {}, values);
    for (auto _ : state) {
        benchmark::DoNotOptimize(measure::find_in_band(*corrected, *response, {}, values, {}, bench::Hookup::foot, {}));
    }
}
BENCHMARK(in_band_result)->Unit(benchmark::kMillisecond);

void below_band_fit(benchmark::State& state) {
    const test::BelowBandProblem problem = test::below_band_problem();
    for (auto _ : state) {
        const auto outcome = problem.outcome();
        if (!std::holds_alternative<measure::BelowBandFit>(outcome)) state.SkipWithError("no resonance");
    }
    state.counters["bins"] = static_cast<double>(problem.corrected.frequency_hz.size());
}
BENCHMARK(below_band_fit)->Unit(benchmark::kMillisecond);

// Everything between the last sample and the result, as live tuning does it: a stretch out of a loop that is
// concentrated on the resonance.
void live_analysis(benchmark::State& state) {
    test::CaptureShape shape;
    shape.period_frames = static_cast<std::size_t>(state.range(0));
    shape.periods = 4;
    shape.focus = dsp::PeriodicSweep::Focus{65.8e3, 1500, 20};
    auto whole = test::bench_capture(bench::default_bench(), bench::Hookup::foot, shape);
    const std::size_t from = shape.period_frames * 3 / 2, count = shape.period_frames * 2 + shape.period_frames / 20;
    const auto cut = [&](std::vector<double>& channel) {
        channel = std::vector<double>(channel.begin() + static_cast<std::ptrdiff_t>(from),
                                      channel.begin() + static_cast<std::ptrdiff_t>(from + count));
    };
    cut(whole.generator);
    cut(whole.coil);
    auto request = test::bench_request(std::move(whole), shape.period_frames);
    request.settled = true;
    auto context = measure::prepare(request);
    if (!context) throw std::runtime_error(context.error().message);
    for (auto _ : state) {
        const auto result = measure::analyze_prepared(request, *context);
        if (!result || result->resonance() == nullptr) state.SkipWithError("no resonance");
    }
}
BENCHMARK(live_analysis)->Arg(32768)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace coldtune
