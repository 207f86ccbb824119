// Results as people read them in a terminal.
#pragma once

#include <string>

#include "analyzer/measure/result.hpp"

namespace coldtune::cli {

// The measured value beside the calculated one, the verdict, the findings; `with_budget` opens the uncertainty.
std::string describe_result(const measure::MeasurementResult& result, bool with_budget);

// The calculated value as a table.
std::string describe_calculated(const model::Calculated& calculated);

}  // namespace coldtune::cli
