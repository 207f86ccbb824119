// What a tuning says in words, for a terminal as for a page.
#pragma once

#include <string>

#include "analyzer/tuning/tune.hpp"

namespace coldtune::tuning {

// "move the tap in by 2.75 turns (5.46 m along the conductor)", "tuned within 0.31 %": no full stop, small first
// letter.
std::string verdict_sentence(const TuneResult& result);

// "460 +- 64 mm along the conductor past turn mark 7"
std::string place_of_tap(const TapAdvice& advice);

}  // namespace coldtune::tuning
