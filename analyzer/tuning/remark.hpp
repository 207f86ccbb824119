// What is said about a comparison or a tuning besides its numbers.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "analyzer/measure/finding.hpp"
#include "analyzer/measure/known_result.hpp"

namespace coldtune::tuning {

// Codes of our own (a contract of schemas coldtune.compare.v1 and coldtune.tune.v1); findings that an input brought
// along keep theirs.
//   order            the results were given in the other order
//   no-shift         no difference beyond the uncertainty
//   other-coil       analysed with different descriptions of the coil
//   other-top-load   measured with another top load than the description names
//   top-load-unknown nothing says which top load was in place
//   top-load-differs measured and calculated capacitance disagree beyond their uncertainties
//   other-clock      different interfaces, so different clocks
//   other-reference  the capture's own note names another reference resistor than the analysis was told
//   other-capacitor  the tank was measured with another capacitor than the description names
//   other-tap        the tank was analysed as tapped elsewhere
//   primary-differs  what was measured lies far from the described primary
//   out-of-reach     no tap reaches the target
struct Remark {
    std::string code;
    measure::Weight weight = measure::Weight::note;
    std::string text;
};

// The heaviest weight decides.
measure::Verdict verdict_of(const std::vector<Remark>& remarks);
std::string_view weight_name(measure::Weight weight);

// Cautions that came with a result (a stale correction, say), with its name before them; notes stay behind.
void carry_findings(const measure::KnownResult& result, std::vector<Remark>& into);

// Whether two results were timed by one clock: both name their interface and it is the same. With differing or unknown
// interfaces the clocks count as independent, which is the wider.
bool same_clock(const measure::KnownResult& a, const measure::KnownResult& b);

}  // namespace coldtune::tuning
