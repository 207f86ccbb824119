// COIL.json: the coil as its builder describes it.
#pragma once

#include <filesystem>
#include <string_view>

#include "analyzer/model/geometry.hpp"
#include "dsp/result.hpp"

namespace coldtune::record {

// Strict: unknown keys, wrong units and impossible geometry (model::check_geometry) are errors that name the key (by
// its path, e.g. secondary.length) and the allowed range. `origin` names the source in messages.
Result<model::CoilDescription> parse_coil(std::string_view json_text, std::string_view origin);
Result<model::CoilDescription> read_coil(const std::filesystem::path& path);

}  // namespace coldtune::record
