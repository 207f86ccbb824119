// A comparison and a tune as a builder reads them: the same lines in a terminal and in a window.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "analyzer/tuning/compare.hpp"
#include "analyzer/tuning/tune.hpp"

namespace coldtune::tuning {

// A figure with its name before it and what it means behind it. A name may be empty: it belongs to the line above.
struct Line {
    std::string name, value, remark;
};

// How a reader of this surface changes or adds something, e.g. "--allowance"; an empty one is left out.
struct Ways {
    std::string_view set_allowance, give_inductance, give_coil;
};

std::vector<Line> compare_lines(const CompareRequest& request, const CompareResult& result, const Ways& ways);

// "tuned within 0.6 %", "move the tap in by 2.75 turns (5.46 m along the conductor)".
std::string verdict_text(const TuneResult& result);
// "460 +- 64 mm along the conductor past turn mark 7"
std::string place_of_tap(const TapAdvice& advice);
std::vector<Line> tuning_lines(const TuneRequest& request, const Tuning& tuning, const Ways& ways);

}  // namespace coldtune::tuning
