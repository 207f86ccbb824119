// Do the captures of a request belong together? No recording can stand for two things, and what a held stream of one
// input made must stay among itself.
#pragma once

#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/finding.hpp"

namespace coldtune::measure {

// Whether channel 1 of the coil's capture is the stimulus instead of a recording.
bool from_one_input(const audio::CaptureFile& file);

// Empty when they do; all findings reject.
std::vector<Finding> judge_held_captures(const AnalysisRequest& request);

}  // namespace coldtune::measure
