// Captures of the demonstration bench for the benchmarks, as long as a measurement takes them.
#pragma once

#include <stdexcept>
#include <utility>

#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/measure/analysis.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::test {

struct CaptureShape {
    double rate_hz = 192000;
    std::size_t period_frames = 192000;
    std::size_t periods = 10;                          // 10 s with the defaults
    std::optional<dsp::PeriodicSweep::Focus> focus{};  // none: flat
};

inline dsp::TwoChannelCapture bench_capture(const bench::Bench& bench, bench::Hookup hookup,
                                            const CaptureShape& shape = {}) {
    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = shape.rate_hz;
    sweep.period_frames = shape.period_frames;
    sweep.periods = shape.periods;
    sweep.band = {1000, 0.45 * shape.rate_hz};
    sweep.focus = shape.focus;
    audio::SweepRequest request;
    request.device = "simulated";
    request.sample_rate_hz = shape.rate_hz;
    auto signal = dsp::render(sweep);
    if (!signal) throw std::runtime_error(signal.error().message);
    request.stimulus = std::move(*signal);
    auto recording = bench::make_simulated_port(bench, hookup)->play_and_record(request, {}, {});
    if (!recording) throw std::runtime_error(recording.error().message);
    return std::move(recording->capture);
}

inline measure::AnalysisRequest bench_request(dsp::TwoChannelCapture capture, std::size_t period_frames) {
    measure::AnalysisRequest request;
    request.coil.capture = std::move(capture);
    request.period_frames = period_frames;
    request.bench = {10e3, 1e6, 150e-12, 10e3};
    return request;
}

}  // namespace coldtune::test
