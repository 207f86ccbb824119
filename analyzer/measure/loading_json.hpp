// A loading series as a machine reads it: schema "coldtune.result.v1" with the object `loading`.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "analyzer/measure/loading_series.hpp"

namespace coldtune::measure {

// Besides the contract's keys: `winding` holds the inductance at low frequency (its resistance null: not measured), and
//   loading {points [{capacitance_f, tolerance_f, file, frequency_hz, frequency_u95_hz, q, residual_hz}],
//            straight_line, model: null or {inductance_h, inductance_u95_h, capacitance_f, capacitance_u95_f,
//            frequency_hz, frequency_u95_hz, chi_square, degrees_of_freedom, budget [{source, frequency_u_hz,
//            inductance_u_h, capacitance_u_f}]}}.
// A rejected series has null in the place of every number that came out of a capture.
nlohmann::ordered_json to_json(const LoadingResult& loading);

}  // namespace coldtune::measure
