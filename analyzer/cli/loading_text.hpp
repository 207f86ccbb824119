// A loading series as people read it in a terminal, and its points as they type them.
#pragma once

#include <string>
#include <string_view>

#include "analyzer/measure/loading_series.hpp"

namespace coldtune::cli {

// "100p=FILE", "100p+-2%=FILE" or "8p2+-0.5p=FILE"; "0=FILE" is a capture without a capacitor. Without a tolerance of
// its own a point has `tolerance` (relative). The capture itself is not read. Errors (usage) name the point.
Result<measure::LoadingPoint> parse_point(std::string_view text, double tolerance);

// The result, the points, and the straight line beside the model; `with_budget` opens the uncertainty.
std::string describe_loading(const measure::LoadingResult& loading, bool with_budget);

}  // namespace coldtune::cli
