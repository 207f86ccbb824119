// Sums over long channels, added up in eight parts: vector instructions may be used, and each part's rounding is an
// eighth of what one running sum would gather.
#pragma once

#include <array>
#include <cstddef>
#include <span>

namespace coldtune::dsp {

template <typename Term>
double sum_of(std::span<const double> values, Term term) {
    std::array<double, 8> part{};
    const std::size_t whole = values.size() / part.size() * part.size();
    for (std::size_t i = 0; i < whole; i += part.size())
        for (std::size_t j = 0; j < part.size(); ++j) part[j] += term(values[i + j]);
    for (std::size_t i = whole; i < values.size(); ++i) part[0] += term(values[i]);
    return ((part[0] + part[4]) + (part[1] + part[5])) + ((part[2] + part[6]) + (part[3] + part[7]));
}

inline double sum_of(std::span<const double> values) {
    return sum_of(values, [](double value) { return value; });
}
inline double sum_of_squares(std::span<const double> values) {
    return sum_of(values, [](double value) { return value * value; });
}

}  // namespace coldtune::dsp
