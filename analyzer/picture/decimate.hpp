// Fewer points than the data has, none of its extremes lost.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace coldtune::picture {

// Indices (ascending) of the points to draw of a curve whose x is increasing and shown across `columns` columns:
// `column_of(k)` is the column of point k (any integer, growing with k). In each column the first, the lowest, the
// highest and the last point stay, so the drawn line enters, leaves and reaches exactly where the full one does. NaN
// never counts as an extreme but is kept where it stands at a border, so that a gap stays a gap.
std::vector<std::size_t> decimate(std::span<const double> y, std::span<const int> column_of);

}  // namespace coldtune::picture
