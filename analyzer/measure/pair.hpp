// The pair: fit, uncertainty budget, result.
#pragma once

#include <optional>
#include <string>
#include <variant>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/pair_fit.hpp"

namespace coldtune::measure {

// Or a sentence why there is none.
using PairOutcome = std::variant<Pair, std::string>;

// `data` is what correct(coil, standards, bench) gave. Budget (k = 1 each): noise (scaled by sqrt(chi2/dof) where that
// exceeds 1), form of the loss, form of the current along the secondary, clock, and each thing that was declared
// instead of measured, moved by its limit over sqrt 3 (GUM 4.3.7, rectangular).
PairOutcome find_pair(const dsp::CorrectedResponse& data, const dsp::Response& coil, const dsp::Standards& standards,
                      const dsp::BenchValues& bench, const BenchTolerances& tolerances, const PairShape& shape,
                      std::optional<double> clock_drift_ppm);

}  // namespace coldtune::measure
