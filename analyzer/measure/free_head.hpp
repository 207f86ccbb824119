// Whether the head of the coil hangs free, as the hookup foot wants it.
#pragma once

#include <optional>

#include "analyzer/measure/finding.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure {

// A coil with its head free is a capacitor far below its first resonance; with the head on the return it is an
// inductor. A reject (shorted) where the low end of a band of a decade or more is inductive.
std::optional<Finding> judge_free_head(const dsp::CorrectedResponse& corrected);

}  // namespace coldtune::measure
