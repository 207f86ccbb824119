// Intervals on one frequency axis, drawn in characters.
#pragma once

#include <string>
#include <vector>

namespace coldtune::cli {

struct AxisRow {
    std::string name;
    double low_hz = 0, middle_hz = 0, high_hz = 0;
};

// One line a row: '<' low, '|' middle, '>' high, with '-' between; an interval narrower than a character shows its
// middle alone. The axis spans all rows with a little room and says its ends below. Frequencies > 0, low <= middle <=
// high; empty without rows.
std::string frequency_axis(const std::vector<AxisRow>& rows, std::size_t columns = 64);

}  // namespace coldtune::cli
