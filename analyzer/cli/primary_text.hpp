// What `predict` says about the primary and its tank, as text and as JSON.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

#include "analyzer/model/calculated.hpp"

namespace coldtune::cli {

// Both expect a description that passed check_geometry and has a primary.
std::string describe_primary(const model::CoilDescription& coil, const model::Calculated& calculated);
nlohmann::ordered_json primary_json(const model::CoilDescription& coil, const model::Calculated& calculated);

}  // namespace coldtune::cli
