// Did the resonance hold still while it was measured?
#pragma once

#include <vector>

#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/result.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {

// Compares the periods of the capture with one another (dsp/period_shift.hpp) in the window of the fit. Where they
// differ by more than noise and by enough to matter, a finding (nonlinear, caution) says so, and the scatter of the
// periods goes into the budget and the half-width; where one period alone departs beside a peak, the peak may be of its
// making, and the finding rejects. Nothing happens for a response that does not hold its single periods.
void judge_steadiness(const dsp::Response& response, Resonance& resonance, std::vector<Finding>& findings);

}  // namespace coldtune::measure
