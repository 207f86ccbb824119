// What was declared about the bench instead of measured, one value at a time, so that its share of an uncertainty can
// be found by moving it and evaluating again.
#pragma once

#include <functional>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure {

// What a film resistor of a quarter watt carries in parallel to itself, at most. Common practice, no source.
inline constexpr double kReferenceOwn_f = 0.5e-12;

// What one input of an interface leaks into the other, at most: -80 dB at 10 kHz, rising with frequency as through a
// capacitance between neighbouring tracks. Common practice, no source.
inline constexpr double kCrosstalkAt10kHz = 1e-4;

struct BenchCaptures {
    dsp::Response coil;
    dsp::Standards standards;
    dsp::BenchValues values;
};

struct DeclaredValue {
    const char* source;                        // as the budget calls it
    std::function<void(BenchCaptures&)> move;  // by one standard uncertainty
};

// Those that no measured standard has replaced; limits are rectangular (GUM 4.3.7).
std::vector<DeclaredValue> declared_values(const dsp::Standards& standards, const BenchTolerances& tolerances);

}  // namespace coldtune::measure
