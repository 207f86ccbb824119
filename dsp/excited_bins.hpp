// Which lines of a spectrum the stimulus put there.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace coldtune::dsp {

// The power that splits the total in halves: half of all energy is in lines at or below it, to within a factor of 2.
// One strong stray line (hum) does not move it, as the strongest line would be moved.
double typical_power(std::span<const double> power);

// Indices of the lines within 60 dB of the typical one that form part of the stimulus: lone lines or small groups far
// from the rest (hum, a carrier) are left out.
std::vector<std::size_t> excited_lines(std::span<const double> power);

}  // namespace coldtune::dsp
