// Whether a below-band fit agrees with what was known before it: the description, the open standard, the inputs.
#pragma once

#include <optional>

#include "analyzer/measure/below_band.hpp"
#include "analyzer/measure/finding.hpp"

namespace coldtune::measure {

// The below-band way believes the description for the form of the curve, so a fit that had to leave it says nothing
// about the resonance. Beyond three standard uncertainties of a prior a caution, and the interval must be widened by
// `widening()`; beyond four and a half a rejection. (On 360 simulated benches with every dimension off by up to 5 %, a
// wall and a former nobody described, the largest was 2.6.)
std::optional<Finding> judge_strain(const BelowBandFit& fit);

// Factor on the interval: 1 up to two standard uncertainties, then the square of how many times two the largest prior
// is strained: what drags one prior away bends the form of the curve as well (a shorted turn of the winding's own wire,
// four standard uncertainties of inductance, was two half-widths off where the factor went in proportion).
double widening(const BelowBandFit::Strain& strain);

}  // namespace coldtune::measure
