// A response from anywhere: a kept result of ours, a Touchstone file, a table.
#pragma once

#include <filesystem>

#include "analyzer/measure/result.hpp"
#include "dsp/result.hpp"

namespace coldtune::share {

// By the ending: .s1p and .ts are Touchstone, .csv is a table; .json is a result with its curve. Errors (bad_input, one
// line with the file's name): another ending, a file that is missing, too long (64 MiB, a result 256 MiB) or not what
// its ending says.
Result<measure::Curve> read_response(const std::filesystem::path& path);

// Whether read_response takes it for a response of others, not for a result of ours.
bool is_plain_response(const std::filesystem::path& path);

}  // namespace coldtune::share
