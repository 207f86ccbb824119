#include "analyzer/picture/decimate.hpp"

#include <algorithm>
#include <array>

namespace coldtune::picture {

std::vector<std::size_t> decimate(std::span<const double> y, std::span<const int> column_of) {
    std::vector<std::size_t> kept;
    const std::size_t n = std::min(y.size(), column_of.size());
    std::size_t first = 0;
    while (first < n) {
        std::size_t end = first, low = first, high = first;
        for (; end < n && column_of[end] == column_of[first]; ++end) {
            // Written so that a NaN at the start gives way to the first number after it.
            if (y[end] < y[low] || !(y[low] == y[low])) low = end;
            if (y[end] > y[high] || !(y[high] == y[high])) high = end;
        }
        std::array<std::size_t, 4> corner{first, low, high, end - 1};
        std::sort(corner.begin(), corner.end());
        for (std::size_t c : corner) {
            if (kept.empty() || kept.back() != c) kept.push_back(c);
        }
        first = end;
    }
    return kept;
}

}  // namespace coldtune::picture
