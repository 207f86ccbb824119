// How far two coupled circuits, as measured, part from the described ones.
#pragma once

#include <optional>

#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/pair_model.hpp"
#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

// Measured over calculated, less one. The tank is left out: it is what is being tuned.
struct PairParting {
    double secondary = 0;  // of its frequency
    double coupling = 0;
};
PairParting parting_of(const Pair& pair, const model::TwoModes& described);

// The description gives the form of the current only as far as it is the description of this coil: the tolerance of
// the form grows by one and a half times the parting of the frequency and three tenths of the coupling's, up to that of
// no description. False where that changes nothing worth another fit.
bool widen(PairShape& shape, const PairParting& parting);

// A caution where dimensions taken by tape do not explain the parting: 10 % of the frequency, 30 % of k.
std::optional<Finding> judge_parting(const PairParting& parting);

}  // namespace coldtune::measure
