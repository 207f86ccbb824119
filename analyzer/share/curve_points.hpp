// The points of a curve that can be written down.
#pragma once

#include <cstddef>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "dsp/result.hpp"

namespace coldtune::share {

// Indices of the points with a positive frequency and a finite impedance, in order of frequency. Errors (bad_input):
// none, two at one frequency, columns of different length.
Result<std::vector<std::size_t>> ascending_points(const measure::Curve& curve);

}  // namespace coldtune::share
