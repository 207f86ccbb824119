#include "analyzer/record/preferred_values.hpp"

#include <fmt/format.h>

#include <array>
#include <charconv>
#include <cmath>
#include <string>

namespace coldtune::record {
namespace {

constexpr std::array e12 = {10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82};
constexpr std::array e24 = {10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30,
                            33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91};

std::array<int, 96> make_e96() {
    std::array<int, 96> numbers{};
    for (std::size_t k = 0; k < numbers.size(); ++k) {
        numbers[k] = static_cast<int>(std::lround(100.0 * std::pow(10.0, static_cast<double>(k) / 96.0)));
    }
    return numbers;
}

bool in_range(double value) {
    return value >= 1e-18 && value <= 1e18;  // false for NaN
}

Error out_of_range(double value) {
    return bad_input(fmt::format("no preferred value near {}; give a positive value from 1e-18 to 1e18", value));
}

// number * 10^power as the double nearest to that decimal, so that 4.7 nF from here and from a file are the same.
double decimal(int number, int power) {
    const std::string text = fmt::format("{}e{}", number, power);
    double value = 0;
    std::from_chars(text.data(), text.data() + text.size(), value);
    return value;
}

// Calls `use` with every preferred value from the decade below `low` to the one above `high`, ascending.
template <typename Use>
void walk(double low, double high, Series series, Use use) {
    const int shift = series == Series::e96 ? 2 : 1;  // the numbers are written with two or three figures
    const int first = static_cast<int>(std::floor(std::log10(low))) - 1;
    const int last = static_cast<int>(std::floor(std::log10(high))) + 1;
    for (int power = first; power <= last; ++power) {
        for (const int number : decade(series)) use(decimal(number, power - shift));
    }
}

}  // namespace

std::span<const int> decade(Series series) {
    static const std::array<int, 96> e96 = make_e96();
    switch (series) {
        case Series::e12:
            return e12;
        case Series::e24:
            return e24;
        case Series::e96:
            break;
    }
    return e96;
}

Result<double> nearest_preferred(double value, Series series) {
    if (!in_range(value)) return out_of_range(value);
    double best = 0;
    double best_distance = HUGE_VAL;
    walk(value, value, series, [&](double candidate) {
        const double distance = std::abs(std::log(candidate / value));
        if (distance < best_distance) {
            best = candidate;
            best_distance = distance;
        }
    });
    return best;
}

Result<std::vector<double>> preferred_between(double low, double high, Series series) {
    if (!in_range(low)) return out_of_range(low);
    if (!in_range(high)) return out_of_range(high);
    constexpr double rounding = 1e-12;  // far above a double's, far below the 2.4 % between neighbours of E96
    std::vector<double> found;
    walk(low, high, series, [&](double candidate) {
        if (candidate >= low * (1 - rounding) && candidate <= high * (1 + rounding)) found.push_back(candidate);
    });
    return found;
}

}  // namespace coldtune::record
