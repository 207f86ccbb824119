// A result as `analyze --json` printed it, read back whole: for exports, reports and files that keep results.
#pragma once

#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string_view>

#include "analyzer/measure/result.hpp"
#include "dsp/result.hpp"

namespace coldtune::measure {

// The inverse of to_json (result_json.hpp), as far as the object goes: without `curve` the curve stays empty, and of
// `calculated` the keys it holds. Unknown keys are passed over: a later version may say more. A null in the curve
// becomes NaN.
//
// Errors (bad_input, one line "ORIGIN: PATH: ..."): not an object of schema coldtune.result.v1, a key missing or of the
// wrong kind, columns of the curve of different length, frequencies that do not rise, a verdict that its findings do
// not give, a resonance in a rejected result.
Result<MeasurementResult> result_from_json(const nlohmann::ordered_json& json, std::string_view origin);

// From a file of at most 256 MiB, about two million points.
Result<MeasurementResult> read_kept_result(const std::filesystem::path& path);

}  // namespace coldtune::measure
