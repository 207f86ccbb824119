// A simulated bench in the hands of a test: sweeps and standards without files.
#pragma once

#include <cstdlib>
#include <iostream>

#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::test {

struct SweepShape {
    double rate_hz = 192000;
    std::size_t period = 131072;
    std::size_t periods = 6;
    double low_hz = 1000;
    double high_hz = 0;  // 0: 0.45 of the rate
    double level_dbfs = -6;
};

inline audio::CaptureFile capture(const bench::Bench& bench, bench::Hookup hookup, const SweepShape& shape = {}) {
    dsp::PeriodicSweep sweep;
    sweep.sample_rate_hz = shape.rate_hz;
    sweep.period_frames = shape.period;
    sweep.periods = shape.periods;
    sweep.band = {shape.low_hz, shape.high_hz > 0 ? shape.high_hz : 0.45 * shape.rate_hz};
    sweep.level_dbfs = shape.level_dbfs;
    sweep.lead_in_frames = 3000;
    sweep.fade_frames = 500;
    audio::SweepRequest request;
    request.device = "simulated";
    request.sample_rate_hz = shape.rate_hz;
    auto signal = dsp::render(sweep);
    if (!signal) {
        std::cerr << signal.error().message << '\n';
        std::abort();
    }
    request.stimulus = std::move(*signal);
    request.tail_frames = static_cast<std::size_t>(0.2 * shape.rate_hz);
    auto port = bench::make_simulated_port(bench, hookup);
    auto recording = port->play_and_record(request, {}, {});
    if (!recording) {
        std::cerr << recording.error().message << '\n';
        std::abort();
    }
    audio::CaptureFile file;
    file.capture = std::move(recording->capture);
    file.bits = 32;
    file.floating = true;
    file.note = audio::CaptureNote{};
    file.note->period_frames = shape.period;
    return file;
}

// A series R-L-C at the foot from resonance, Q and inductance, with a stray capacitance across it.
inline bench::LumpedCoil series_coil(double frequency_hz, double q, double inductance_h, double stray_f) {
    const double omega = 2 * 3.14159265358979323846 * frequency_hz;
    bench::LumpedCoil coil;
    coil.branches.push_back({inductance_h, 1 / (omega * omega * inductance_h), omega * inductance_h / q});
    coil.stray_f = stray_f;
    return coil;
}

// Standards of the same bench with noise of their own.
inline measure::Standard standard(bench::Bench bench, bench::Hookup hookup, const SweepShape& shape = {}) {
    bench.seed = bench.seed * 7919 + static_cast<std::uint64_t>(hookup) + 1;
    return {capture(bench, hookup, shape), "standard"};
}

inline measure::AnalysisRequest request_for(const bench::Bench& bench, audio::CaptureFile coil,
                                            bench::Hookup hookup = bench::Hookup::foot) {
    measure::AnalysisRequest request;
    request.hookup = hookup;
    request.coil = std::move(coil);
    request.bench.reference_ohm = 10e3;
    request.bench.input_resistance_ohm = bench.wiring.coil_input.resistance_ohm;
    request.bench.input_capacitance_f = 150e-12;
    request.bench.load_ohm = 10e3;
    return request;
}

inline void add_standards(measure::AnalysisRequest& request, const bench::Bench& bench, const SweepShape& shape = {}) {
    request.open = standard(bench, bench::Hookup::open, shape);
    request.short_circuit = standard(bench, bench::Hookup::short_circuit, shape);
    request.load = standard(bench, bench::Hookup::load, shape);
}

}  // namespace coldtune::test
