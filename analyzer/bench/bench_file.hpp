// BENCH.json: a bench that exists only in numbers, for `simulate` and `--device simulated`.
//
// One object, read as strictly as COIL.json; quantities are texts ("10k", "150pF", "-100dB", "20ppm") or SI numbers
// (levels in decibels, ratios as plain numbers). Only the coil is required; whatever is left out has the default of
// Bench.
//
//   name
//   coil          as in COIL.json, played by the distributed model; with it may stand
//                   deviate {capacitance, inductance, resistance, diameter, length, turns, topload}: true over
//                   described q (unloaded, first resonance), sections (of the model)
//   circuit       instead of coil: inductance, capacitance, resistance (series, from the foot), stray (at the foot);
//                   or branches: [{inductance, capacitance, resistance}, ...] and stray
//   loading       known capacitor from the head to the return
//   foot_loss     {resistance (at the first resonance), exponent (of its growth with frequency)}
//   tank          {inductance, resistance, capacitance}; left out: as the coil's primary and tank are described
//   primary_circuit  "open" (the default), "closed" (the tank couples to the secondary), "shorted"
//   coupling      of a circuit's first branch with the tank; a coil's follows from its primary
//   wiring        {source_impedance, reference, reference_shunt, generator_input, coil_input, lead {resistance,
//   inductance},
//                  load_standard, pickup (capacitance)}; an input is {resistance, capacitance, cable, gain}
//   interface     {rate, bits (8 .. 32, or "float"), latency (frames), output_full_scale, input_full_scale (peak
//   volts),
//                  noise (of both) or noise {generator, coil}, dc_offset {generator, coil}, clip_level (full scale =
//                  1), anti_alias {order, corner, mismatch}, clock_error, clock_drift, nonlinearity {output, generator,
//                  coil: each {second, third}, dB under a full-scale sine}}
//   hum           {frequency, level, generator_level}
//   carriers      [{frequency, level}]
//   faults        {swapped_inputs, dead_input ("generator" or "coil"), missing_return (capacitance that is left),
//                  blocks [{kind ("zeros", "repeated", "lost", "inserted"), first, frames}],
//                  changes [{kind ("contact_lost", "capacitance"), at, length, ramp, capacitance}],
//                  automatic_gain {level, time}, gate, echo {level, delay}, converted_rate, device_lost_at}
//   seed          whole number
#pragma once

#include <filesystem>
#include <string_view>

#include "analyzer/bench/bench.hpp"
#include "dsp/result.hpp"

namespace coldtune::bench {

// Errors (bad_input, one line) name the file, the key and what is allowed.
Result<Bench> parse_bench(std::string_view json_text, std::string_view origin);
Result<Bench> read_bench(const std::filesystem::path& path);

}  // namespace coldtune::bench
