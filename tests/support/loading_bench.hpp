// Loading series from captures of a simulated bench.
#pragma once

#include <stdexcept>
#include <string>
#include <vector>

#include "tests/support/bench_rig.hpp"
#include "tests/support/loading_rig.hpp"

namespace coldtune::test {

// 96 kHz, 2 s: 3 Hz between lines, some twenty of them across the narrowest resonance here.
inline SweepShape sweep() {
    SweepShape shape;
    shape.rate_hz = 96000;
    shape.period = 32768;
    shape.periods = 6;
    return shape;
}

inline const char* const kCoilJson =
    R"({"secondary": {"diameter": "200mm", "length": "950mm", "turns": 1620, "wire": "0.45mm",
    "base_height": "250mm"}, "topload": {"shape": "toroid", "outer_diameter": "600mm", "tube_diameter": "160mm",
    "height": "120mm"}})";

inline model::CoilDescription described_coil() {
    auto coil = coil_of(0.2, 0.95, 1620, true);
    coil.secondary.wire_diameter_m = 0.45e-3;
    return coil;
}

struct TrueCoil {
    bench::Bench bench;
    double inductance_h, frequency_hz;
};

// Not quite what is described, -100 dBFS of noise, 150 pF of cable.
inline TrueCoil true_coil(const model::CoilDescription& described = described_coil()) {
    TrueCoil out;
    bench::CoilOnBench coil;
    coil.description = described;
    coil.deviation.diameter = 1.04;
    coil.deviation.length = 0.97;
    coil.deviation.turns = 0.98;
    coil.deviation.topload = 1.03;
    coil.q = 140;
    coil.sections = 32;
    out.bench.coil = coil;
    out.bench.interface.sample_rate_hz = 96000;
    out.bench.wiring.reference_ohm = 10.04e3;
    out.bench.wiring.coil_input.gain = 0.995;
    auto description = described;
    description.secondary.diameter_m *= 1.04;
    description.secondary.length_m *= 0.97;
    description.secondary.turns *= 0.98;
    for (auto& body : description.topload) {
        auto& toroid = std::get<model::Toroid>(body);
        toroid.outer_diameter_m *= 1.03;
        toroid.tube_diameter_m *= 1.03;
    }
    model::ModelOptions options;
    options.sections = 32;
    const auto model = model::SecondaryModel::build(description, options);
    if (!model) throw std::runtime_error(model.error().message);
    out.inductance_h = model->branch_inductance_h().sum();
    out.frequency_hz = model->modes_hz()[0];
    return out;
}

struct Capacitor {
    double printed_f, true_f;
};
inline const std::vector<Capacitor> kFour = {
    {150e-12, 150.9e-12}, {220e-12, 218.6e-12}, {470e-12, 472.2e-12}, {1e-9, 0.994e-9}};

inline audio::CaptureFile loaded_capture(bench::Bench bench, double loading_f) {
    bench.loading_f = loading_f;
    bench.seed = static_cast<std::uint64_t>(loading_f * 1e13) + 3;
    return capture(bench, bench::Hookup::foot, sweep());
}

inline measure::LoadingRequest foot_request(const TrueCoil& coil, const std::vector<Capacitor>& capacitors) {
    measure::LoadingRequest request;
    request.bench = request_for(coil.bench, {});
    request.bench.description = described_coil();
    for (const Capacitor& c : capacitors) {
        request.points.push_back({c.printed_f, 0.01 * c.printed_f, loaded_capture(coil.bench, c.true_f),
                                  record::format_quantity(c.printed_f, record::Unit::farad, 3) + ".wav"});
    }
    return request;
}

}  // namespace coldtune::test
