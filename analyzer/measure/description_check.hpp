// Whether a measured resonance can be that of the described coil.
#pragma once

#include <optional>

#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

// A caution where measurement and calculation part by more than dimensions taken by tape explain (25 %) and by more
// than three times the calculated interval: another circuit was measured, or another coil described. Only for a
// resonance inside the band of the head left free; below the band the fit itself tells.
std::optional<Finding> judge_difference(const MeasurementResult& result);

}  // namespace coldtune::measure
