// Preferred numbers for resistors and capacitors, IEC 60063.
//
// E12 and E24 are the standard's own lists (eight of the E24 numbers are not the rounded powers 10^(k/24)); E96 is
// 100 * 10^(k/96) rounded to three figures, which gives the standard's list exactly.
#pragma once

#include <span>
#include <vector>

#include "dsp/result.hpp"

namespace coldtune::record {

enum class Series { e12, e24, e96 };

// The numbers of one decade: 10 .. 82 for E12, 10 .. 91 for E24, 100 .. 976 for E96.
std::span<const int> decade(Series series);

// The preferred value with the smallest relative difference from `value` (by ratio, so the border between two
// neighbours is their geometric mean). `value` > 0 and finite in any unit, from 1e-18 to 1e18; otherwise bad_input.
Result<double> nearest_preferred(double value, Series series);

// All preferred values v with low <= v <= high, ascending; empty when low > high. Both bounds from 1e-18 to 1e18,
// otherwise bad_input. A bound that is a preferred value up to rounding is included.
Result<std::vector<double>> preferred_between(double low, double high, Series series);

}  // namespace coldtune::record
