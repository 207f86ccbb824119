// Whether the declared bench can be the one in place, as far as the standards tell.
#pragma once

#include <optional>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/finding.hpp"

namespace coldtune::measure {

// The short standard must show next to nothing (correction-stale, reject: what it stood for was no short). The load
// divides the voltage with the reference resistor, and the open standard alone shows the product of resistor and lead
// capacitance: a caution (correction-stale) where that contradicts what is declared. `one_input`: the interface is part
// of the ratio, and only open and load together tell something.
std::optional<Finding> judge_bench(const dsp::Standards& standards, const dsp::BenchValues& bench,
                                   const BenchTolerances& tolerances, bool one_input);

}  // namespace coldtune::measure
