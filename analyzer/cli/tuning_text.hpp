// Comparison and tuning as people read them in a terminal.
#pragma once

#include <string>
#include <string_view>

#include "analyzer/tuning/compare.hpp"
#include "analyzer/tuning/tune.hpp"

namespace coldtune::cli {

std::string describe_compare(const tuning::CompareRequest& request, const tuning::CompareResult& result,
                             bool with_budget);
std::string describe_tune(const tuning::TuneRequest& request, const tuning::TuneResult& result);

// "8=FILE" or "9.5=FILE"; the result itself is not read. Errors (usage) name the tap.
struct TapText {
    double turns = 0;
    std::string file;
};
Result<TapText> parse_tap(std::string_view text);

}  // namespace coldtune::cli
