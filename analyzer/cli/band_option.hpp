// LOW:HIGH, as in --band 1k:86k.
#pragma once

#include <string_view>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::cli {

Result<dsp::Band> parse_band(std::string_view text);

}  // namespace coldtune::cli
