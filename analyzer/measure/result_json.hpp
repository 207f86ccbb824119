// The result as a machine reads it: schema "coldtune.result.v1" (the contract of `analyze --json`).
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

// Keys as the contract lists them, full digits, null where a value is unknown or the measurement was rejected, never
// NaN.
nlohmann::ordered_json to_json(const MeasurementResult& result, bool with_curve);
nlohmann::ordered_json to_json(const model::Calculated& calculated);

}  // namespace coldtune::measure
