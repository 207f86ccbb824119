#include "analyzer/picture/axis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace coldtune::picture {
namespace {

constexpr double kNowhere = -1e9;

struct Prefix {
    double factor;
    const char* text;
};
constexpr std::array<Prefix, 9> kPrefixes = {{{1e9, "G"},
                                              {1e6, "M"},
                                              {1e3, "k"},
                                              {1, ""},
                                              {1e-3, "m"},
                                              {1e-6, "\u00b5"},
                                              {1e-9, "n"},
                                              {1e-12, "p"},
                                              {1e-15, "f"}}};

const Prefix& prefix_for(double magnitude) {
    for (const Prefix& p : kPrefixes) {
        // The small allowance keeps 999.9999999 from becoming "1000".
        if (magnitude >= p.factor * (1 - 1e-9)) return p;
    }
    return kPrefixes.back();
}

int decimals_for(double step) {
    if (!(step > 0)) return 0;
    return std::clamp(static_cast<int>(std::ceil(-std::log10(step) - 1e-9)), 0, 12);
}

long long first_multiple(Range range, double step) {
    return static_cast<long long>(std::ceil(range.low / step - 1e-9));
}
long long last_multiple(Range range, double step) {
    return static_cast<long long>(std::floor(range.high / step + 1e-9));
}
long long multiples(Range range, double step) {
    return last_multiple(range, step) - first_multiple(range, step) + 1;
}

std::vector<Tick> marks_at(Range range, double step, int minor) {
    std::vector<Tick> marks;
    const double fine = step / minor;
    for (long long k = first_multiple(range, fine); k <= last_multiple(range, fine); ++k) {
        const double value = static_cast<double>(k) * fine;
        const bool major = k % minor == 0;
        marks.push_back({value, major ? short_number(value, step) : std::string(), major});
    }
    return marks;
}

std::vector<Tick> linear_ticks(Range range, int most) {
    const double span = range.high - range.low;
    const double rough = span / std::max(1, most - 1);
    const double decade = std::pow(10.0, std::floor(std::log10(rough)));
    struct Step {
        double size;
        int minor;
    };
    const std::array<Step, 5> steps = {
        {{0.5 * decade, 5}, {decade, 5}, {2 * decade, 4}, {5 * decade, 5}, {10 * decade, 5}}};
    std::size_t chosen = 1;
    while (chosen + 1 < steps.size() && steps[chosen].size < rough * (1 - 1e-12)) ++chosen;
    // One mark alone gives no scale to read from.
    while (chosen > 0 && multiples(range, steps[chosen].size) < 2) --chosen;
    return marks_at(range, steps[chosen].size, steps[chosen].minor);
}

std::vector<Tick> logarithmic_ticks(Range range, int most) {
    const double low = std::log10(range.low), high = std::log10(range.high);
    const double decades = high - low;
    // A stretch shorter than this holds too few of 1, 2, 5 to read from.
    if (decades < 1.0) return linear_ticks(range, most);
    const int first = static_cast<int>(std::floor(low)), last = static_cast<int>(std::ceil(high));
    const auto powers = [&](int every) { return multiples({low, high}, every); };
    const bool two_and_five = 3 * decades + 1 <= most || powers(1) < 2;
    int every = 1;
    while (powers(every) > most) ++every;
    while (every > 1 && powers(every) < 3) --every;
    std::vector<Tick> marks;
    for (int exponent = first; exponent <= last; ++exponent) {
        const double base = std::pow(10.0, exponent);
        for (int m = 1; m <= 9; ++m) {
            const double value = m * base;
            if (value < range.low * (1 - 1e-9) || value > range.high * (1 + 1e-9)) continue;
            if (every > 1 && m > 1) continue;
            const bool major = (m == 1 && exponent % every == 0) || (two_and_five && (m == 2 || m == 5));
            marks.push_back({value, major ? short_number(value, value) : std::string(), major});
        }
    }
    return marks;
}

}  // namespace

double position_of(double value, Range range, Scale scale) {
    if (scale == Scale::linear) return (value - range.low) / (range.high - range.low);
    if (!(value > 0)) return kNowhere;
    return std::log(value / range.low) / std::log(range.high / range.low);
}

double value_at(double position, Range range, Scale scale) {
    if (scale == Scale::linear) return range.low + position * (range.high - range.low);
    return range.low * std::pow(range.high / range.low, position);
}

std::string short_number(double value, double step) {
    if (std::abs(value) < std::abs(step) * 1e-6 || value == 0) return "0";
    const Prefix& p = prefix_for(std::abs(value));
    return fmt::format("{:.{}f}{}", value / p.factor, decimals_for(step / p.factor), p.text);
}

std::string number_with_unit(double value, std::string_view unit, int digits) {
    if (!std::isfinite(value)) return "unknown";
    // Angles are read to the hundredth; more digits near zero would be noise.
    if (unit == "\u00b0") return fmt::format("{:.2f}{}", std::abs(value) < 0.005 ? 0.0 : value, unit);
    if (value == 0) return fmt::format("0 {}", unit);
    const auto step_of = [&](double v) {
        return std::pow(10.0, std::floor(std::log10(std::abs(v)) + 1e-12) + 1 - digits);
    };
    const double rounded = std::round(value / step_of(value)) * step_of(value);
    const double step = step_of(rounded);  // rounding may have carried
    const Prefix& p = unit.empty() ? kPrefixes[3] : prefix_for(std::abs(rounded));
    const char* space = unit.empty() && p.text[0] == '\0' ? "" : " ";
    return fmt::format("{:.{}f}{}{}{}", rounded / p.factor, decimals_for(step / p.factor), space, p.text, unit);
}

std::vector<Tick> ticks(Range range, Scale scale, int most) {
    if (!(range.high > range.low) || !std::isfinite(range.low) || !std::isfinite(range.high)) return {};
    if (scale == Scale::logarithmic && range.low > 0) return logarithmic_ticks(range, std::max(2, most));
    return linear_ticks(range, std::max(2, most));
}

std::vector<Tick> degree_ticks(Range range, int most) {
    if (!(range.high > range.low) || !std::isfinite(range.low) || !std::isfinite(range.high)) return {};
    constexpr std::array<std::pair<double, int>, 8> kSteps = {
        {{1, 5}, {2, 4}, {5, 5}, {10, 5}, {15, 3}, {30, 3}, {45, 3}, {90, 3}}};
    if (range.high - range.low < 2 * kSteps.front().first || range.high - range.low > 8 * kSteps.back().first) {
        return linear_ticks(range, std::max(2, most));
    }
    std::size_t chosen = 0;
    while (chosen + 1 < kSteps.size() && multiples(range, kSteps[chosen].first) > std::max(2, most)) ++chosen;
    while (chosen > 0 && multiples(range, kSteps[chosen].first) < 2) --chosen;
    return marks_at(range, kSteps[chosen].first, kSteps[chosen].second);
}

Range with_margin(Range range, Scale scale, double fraction) {
    if (scale == Scale::logarithmic && range.low > 0) {
        const double ratio = std::max(range.high / range.low, 1.02);
        const double grow = std::pow(ratio, fraction);
        const double middle = std::sqrt(range.low * range.high), half = std::sqrt(ratio);
        return {middle / half / grow, middle * half * grow};
    }
    double span = range.high - range.low;
    if (!(span > 0)) span = std::max(std::abs(range.high) * 0.02, 1e-12);
    const double middle = (range.low + range.high) / 2;
    return {middle - span * (0.5 + fraction), middle + span * (0.5 + fraction)};
}

}  // namespace coldtune::picture
