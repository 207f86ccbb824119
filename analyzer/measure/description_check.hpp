// A measurement that the described coil, wired as it should be, could not have given.
#pragma once

#include <optional>
#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

// Cautions for a resonance of the secondary (hookups foot and pickup; none for the others): frequency above or far
// below the calculated one (no-coil: it is not the coil as described and hooked up), and at the foot an impedance of
// another size (correction-stale: the declared resistor is not the one in place). What a capture cannot show of itself,
// a missing return or a wrong rate say, shows here or nowhere.
std::vector<Finding> judge_description(bench::Hookup hookup, const Resonance& resonance,
                                       const model::Calculated& calculated);

// A caution for a tank that the description cannot give, tap and capacitor included: beyond both intervals and more
// than an ordinary lead changes.
std::optional<Finding> judge_tank_description(const Resonance& resonance, const model::TankCalculated& calculated);

}  // namespace coldtune::measure
