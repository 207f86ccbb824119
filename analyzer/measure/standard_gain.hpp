// What a standard that was not used would do to a result's uncertainty.
#pragma once

#include <optional>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/analysis_context.hpp"

namespace coldtune::measure {

// 95 % half-widths to expect with one standard more.
struct StandardGain {
    bench::Hookup standard = bench::Hookup::open;
    double frequency_u95_hz = 0;
    std::optional<double> q_u95;
};

// One for each of open, short and load that `context` does not hold: the capture is analysed again with the standard as
// the declared bench would show it, so what is replaced and what then weighs more both count. Empty where nothing was
// found, for a hookup that takes no standards, and for captures of one input (which have theirs).
std::vector<StandardGain> gains_of_standards(const AnalysisRequest& request, AnalysisContext& context);

}  // namespace coldtune::measure
