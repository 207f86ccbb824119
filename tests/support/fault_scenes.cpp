#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/bench/bench_circuit.hpp"
#include "tests/support/capture_faults.hpp"

namespace coldtune::test {
namespace {

// An ordinary interface and its leads, a little different every time.
void draw_bench(bench::Bench& b, FaultDraw& draw) {
    b.interface.bits = draw.chance(0.3) ? 16 : 24;
    b.interface.generator_noise_dbfs = draw.uniform(-106, -88);
    b.interface.coil_noise_dbfs = draw.uniform(-106, -88);
    b.interface.clock_error_ppm = draw.uniform(-40, 40);
    b.interface.anti_alias = {8, 0.475 * b.interface.sample_rate_hz, draw.uniform(-5e-4, 5e-4)};
    b.wiring.reference_ohm = 10e3 * (1 + draw.uniform(-0.009, 0.009));
    b.wiring.load_ohm = 10e3 * (1 + draw.uniform(-0.0009, 0.0009));
    b.wiring.lead_ohm = draw.uniform(0.01, 0.09);
    b.wiring.lead_h = draw.uniform(0.1e-6, 0.45e-6);
    b.wiring.coil_input.gain = 1 + draw.uniform(-0.009, 0.009);
    b.wiring.coil_input.cable_f = draw.uniform(110e-12, 180e-12);
    b.hum = bench::Hum{};
    b.hum->mains_hz = draw.chance(0.5) ? 50 : 60;
    b.hum->level_dbfs = draw.uniform(-95, -65);
    b.hum->generator_level_dbfs = b.hum->level_dbfs - 20;
    b.seed = draw.engine();
}

model::CoilDescription draw_description(FaultDraw& draw, bool large) {
    model::CoilDescription c;
    auto& w = c.secondary;
    w.diameter_m = large ? draw.uniform(0.15, 0.3) : draw.uniform(0.07, 0.2);
    w.length_m = w.diameter_m * draw.uniform(3.5, 5.5);
    w.turns = std::floor(large ? draw.uniform(1400, 2600) : draw.uniform(700, 1800));
    w.wire_diameter_m = 0.8 * w.length_m / w.turns;
    w.base_height_m = draw.uniform(0.08, 0.4);
    if (large || draw.chance(0.75)) {
        const double outer = w.diameter_m * draw.uniform(1.8, 3.5);
        c.topload.emplace_back(model::Toroid{outer, outer * draw.uniform(0.2, 0.3), outer * draw.uniform(0.15, 0.3)});
    }
    return c;
}

}  // namespace

std::optional<double> true_resonance_hz(const bench::Bench& bench, double from_hz, double to_hz) {
    const auto coil = bench::BenchCoil::build(bench);
    if (!coil) return std::nullopt;
    const double first = (*coil)->first_resonance_hz();
    if (first < from_hz || first > to_hz) return std::nullopt;
    const auto circuit = bench::BenchCircuit::build(bench, bench::Hookup::foot, *coil);
    if (!circuit) return std::nullopt;
    return circuit->zero_reactance_hz(0.97 * first, 1.03 * first);
}

FaultScene draw_scene(CoilKind kind, FaultDraw& draw) {
    FaultScene scene;
    scene.shape.rate_hz = draw.chance(0.3) ? 96000 : 192000;
    scene.shape.period = 32768;
    scene.shape.periods = 3 + draw.below(4);
    bench::Bench& b = scene.bench;
    b.interface.sample_rate_hz = scene.shape.rate_hz;
    draw_bench(b, draw);
    const double edge = 0.45 * scene.shape.rate_hz;
    // Ten bins across the resonance, as the two-step sweep sees to.
    const auto most_q = [&](double f) {
        return static_cast<double>(scene.shape.period) * f / (10 * scene.shape.rate_hz);
    };
    for (;;) {
        if (kind == CoilKind::lumped) {
            const double f = draw.log_uniform(0.12 * edge, 0.93 * edge);
            const double q = draw.log_uniform(25, std::min(350.0, std::max(30.0, most_q(f))));
            b.coil = series_coil(f, q, draw.log_uniform(10e3, 60e3) / (2 * std::numbers::pi * f),
                                 draw.uniform(2e-12, 15e-12));
            scene.resonance_hz = true_resonance_hz(b, 0, 1e9).value_or(0);
        } else {
            const bool below = kind == CoilKind::below_band;
            bench::CoilOnBench coil;
            coil.description = draw_description(draw, !below);
            if (!model::check_geometry(coil.description)) continue;
            const auto off = [&](double limit) { return 1 + draw.uniform(-limit, limit); };
            coil.deviation.diameter = off(0.01);
            coil.deviation.length = off(0.01);
            coil.deviation.turns = off(0.01);
            coil.deviation.topload = off(0.02);
            coil.sections = 24;
            coil.q = draw.log_uniform(60, 250);
            b.coil = coil;
            const auto truth =
                below ? true_resonance_hz(b, 1.15 * edge, 3.0 * edge) : true_resonance_hz(b, 0.2 * edge, 0.93 * edge);
            if (!truth) continue;
            if (!below && *coil.q > most_q(*truth)) continue;
            scene.resonance_hz = *truth;
            scene.description = coil.description;
        }
        break;
    }
    scene.standards = b;
    // Open alone, all three, none: what people do, about in this order.
    const double use = draw.uniform(0, 1);
    scene.use_open = use < 0.9;
    scene.use_short = use < 0.5;
    scene.use_load = use < 0.45;
    return scene;
}

}  // namespace coldtune::test
