// What the calculated value's uncertainty is made of.
#pragma once

#include <string>
#include <vector>

#include "analyzer/model/secondary.hpp"

namespace coldtune::model {

// One line of the budget (GUM, JCGM 100:2008, 4.3.7 and 5.1): a limit the builder vouches for, taken as a rectangular
// distribution (standard uncertainty limit / sqrt 3), and what it moves the first mode by.
struct UncertaintyTerm {
    std::string quantity;    // "diameter", "length", "turns", "base height", "top load", "model"
    double limit = 0;        // in the quantity's unit; of the model: 0
    double standard_hz = 0;  // standard uncertainty of the frequency from it
};

// Default limits where the description gives none (common practice, no source: a rule read to a few millimetres, turns
// reckoned from wire and length): diameter, length and turns 1 %; base height the larger of 10 % and 10 mm; top load
// 2 % on every size of it.
Tolerances tolerances_or_defaults(const CoilDescription& coil);

// Standard uncertainty of the model itself, relative: the thin tube in place of turns, the ideal ground, copper and air
// alone. Set to the root mean square of its deviations from published coils whose surroundings are described (about
// 1 %; tests/outside/measured_coils_test.cpp), rounded up. Surroundings that are not described are not in it.
inline constexpr double kModelStandardRelative = 0.012;

// Independent terms, by central differences at the limits. Precondition: check_geometry passed.
std::vector<UncertaintyTerm> uncertainty_budget(const CoilDescription& coil, double frequency_hz);

// Relative standard uncertainty of the described inductance at low frequency: L ~ turns^2 diameter^2 / length (a long
// current sheet; common practice, no source), the tolerances as rectangular limits, and a per cent of the formula.
double described_inductance_u(const CoilDescription& coil);

}  // namespace coldtune::model
