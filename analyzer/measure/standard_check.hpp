// Is a standard what it is called? Told when it is taken, before a coil is measured with it.
#pragma once

#include <optional>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/finding.hpp"
#include "dsp/correction.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {

// For the hookups open, short and load; none for the others. A caution for an open lead that conducts far more than the
// input is declared to; rejects an open lead that conducts or resonates (the clip
// still holds something), a short that is none, a load that is open or short or, where its value is stated, more than a
// fifth off; inputs of opposite polarity at each. Says nothing of one input alone, whose ratios have no scale.
std::optional<Finding> judge_standard(bench::Hookup hookup, const dsp::Response& response,
                                      const dsp::BenchValues& bench);

// Gains of one interface's inputs differ by less (common practice, no source).
inline constexpr double kAlikeGains = 0.02;
// How much more input 2 gives than input 1, from an open lead's low end, which nothing loads; 1 where it gives less (an
// input's own resistance does that too) or more than inputs of one interface can.
double gain_of(const dsp::Response& open);
// A caution for inputs that differ by more than those of one interface do, unless a load standard takes that out.
std::optional<Finding> judge_gain(double gain, bool with_load);

// Whether the coil side moves against the generator side at low frequencies, which no passive thing behind a resistor
// makes: one of the inputs is turned over.
bool turned_over(const dsp::Response& response);

}  // namespace coldtune::measure
