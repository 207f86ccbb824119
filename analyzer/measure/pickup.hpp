// The `pickup` hookup: the foot is driven, a bare wire near the head hears the coil through a fraction of a picofarad.
//
// With u = f/fc (fc the corner that the second input's resistance makes with its capacitance) and x = f/f0
//     V2/V1 = a (j u/(1 + j u)) (1 + b (x^2 - 1)) / ((1 - x^2)(1 + j x g) + j x / Q_loaded)
// a: complex amplitude; b: the coil's higher modes; g: capacitance at the foot against the reference resistor. This is
// exact for a series circuit with a stray capacitance at its foot; for a distributed coil it holds around the first
// mode. The Q seen is the one loaded by the reference resistor; what the coil has by itself cannot be told from here.
// The wire adds its capacitance to the head; that shift is estimated from the amplitude, removed, and kept in the
// uncertainty.
#pragma once

#include <optional>
#include <variant>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/measure/shape_family.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {

// A resonance, or the finding that says why there is none.
using PickupOutcome = std::variant<Resonance, Finding>;

// `family` (null without a description) is needed where the resonance lies above `usable`: then the calculated transfer
// of the described coil, its frequencies scaled, is laid on the data below it. No standard takes part: what they
// correct at the foot does not reach the wire.
PickupOutcome find_pickup(const dsp::Response& response, const dsp::BenchValues& bench,
                          const BenchTolerances& tolerances, const std::optional<dsp::Band>& usable,
                          const ShapeFamily* family);

}  // namespace coldtune::measure
