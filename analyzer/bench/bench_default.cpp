// The bench of the demonstration. Everything here is invented; fixtures/demo/ holds the same as files.
#include "analyzer/bench/bench.hpp"

namespace coldtune::bench {

Bench default_bench() {
    Bench bench;
    bench.name = "demonstration bench (invented)";

    CoilOnBench coil;
    coil.description.name = "Heron, a demonstration coil (invented)";
    coil.description.secondary.diameter_m = 0.160;
    coil.description.secondary.length_m = 0.750;
    coil.description.secondary.turns = 2500;
    coil.description.secondary.wire_diameter_m = 0.25e-3;
    coil.description.secondary.base_height_m = 0.150;
    coil.description.topload.emplace_back(model::Toroid{0.600, 0.150, 0.060});
    // The coil as it stands is never quite the coil as described.
    coil.deviation.capacitance = 1.02;
    coil.deviation.inductance = 0.995;
    coil.q = 130;
    bench.coil = coil;

    bench.tank = {60e-6, 0.08, 100e-9};
    bench.wiring.source_ohm = 75;
    bench.wiring.reference_ohm = 10060;  // 10 kohm, 1 %
    bench.wiring.lead_ohm = 0.05;
    bench.wiring.lead_h = 0.6e-6;
    bench.wiring.generator_input.gain = 1.002;
    bench.wiring.coil_input.gain = 0.999;

    bench.interface.sample_rate_hz = 192000;
    bench.interface.anti_alias = {8, 91000, 0.0005};
    bench.interface.clock_error_ppm = 12;
    bench.hum = Hum{50, -75, -110, {1, 0.1, 0.3, 0.05, 0.15}};
    bench.seed = 20;
    return bench;
}

}  // namespace coldtune::bench
