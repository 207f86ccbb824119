// From facts about a capture to findings: what they mean at this hookup and what to do about them.
#pragma once

#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/finding.hpp"
#include "dsp/capture_health.hpp"
#include "dsp/correction.hpp"
#include "dsp/resonance_fit.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {

// Two clocks nearer than this count as one.
inline constexpr double notable_drift_ppm = 1;

// Everything the capture shows before any circuit is assumed. `response` may be null (none could be formed). With the
// hookup short hardly anything reaches input 2: what is measured against the sweep there says nothing.
std::vector<Finding> judge_signal(const dsp::CaptureHealth& health, const dsp::Response* response,
                                  bench::Hookup hookup);

// Inputs swapped, or a short: wiring that the raw and the corrected response give away, for a hookup with something to
// measure. `gain`: of input 2 over input 1, as an open standard shows it (gain_of); 1 where there is none.
std::vector<Finding> judge_wiring(const dsp::Response& response, const dsp::CorrectedResponse& corrected,
                                  double gain = 1);

// Why there is no resonance, as findings, never empty: nothing connected, resonance above or below the band, or none.
std::vector<Finding> judge_no_fit(const dsp::NoFit& no_fit, const dsp::CorrectedResponse& corrected,
                                  const dsp::BenchValues& bench, bench::Hookup hookup);

}  // namespace coldtune::measure
