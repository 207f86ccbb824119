// What the corrected curve itself says against a result: standards that are missing or stale, further peaks, a form
// that is no single resonance.
#pragma once

#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/result.hpp"
#include "dsp/correction.hpp"

namespace coldtune::measure {

// A corrected response that no passive coil can have tells that the standards no longer describe the bench.
bool unphysical_after_open(const dsp::CorrectedResponse& corrected);

void add_uncorrected(std::vector<Finding>& findings, const dsp::CorrectedResponse& corrected);
// Below the band the lead's capacitance decides, and only the open standard knows it.
void add_without_open(std::vector<Finding>& findings, const dsp::CorrectedResponse& corrected);
// A caution for circuits near by, a note for higher modes of the same coil.
void add_other_peaks(std::vector<Finding>& findings, bench::Hookup hookup, const Resonance& resonance);
// A curve that is no single resonance, though one was fitted.
void add_misfit(std::vector<Finding>& findings, const Resonance& resonance);

}  // namespace coldtune::measure
