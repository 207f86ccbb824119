// Q by three routes that do not minimise anything: shown beside the fit, so that a person sees whether they agree. Each
// takes from the fit only the background to remove and where to look.
#pragma once

#include <optional>
#include <span>

#include "dsp/resonance_model.hpp"

namespace coldtune::dsp {

struct CrossChecks {
    std::optional<double> half_power_q;
    std::optional<double> phase_slope_q;
    std::optional<double> ringdown_q;
};

CrossChecks cross_checks(std::span<const ResonanceBin> bins, const ResonanceModel& model, const double* theta);

}  // namespace coldtune::dsp
