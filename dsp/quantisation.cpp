#include "dsp/quantisation.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>

namespace coldtune::dsp {

double quantisation_step(std::span<const double> samples) {
    constexpr double finest = 2147483648.0;  // 2^31
    std::uint64_t used_bits = 0;
    bool integers = true, singles = true;
    double power = 0;
    for (const double value : samples) {
        const double scaled = std::abs(value) * finest;
        const std::int64_t whole = integers && scaled < 9e15 ? static_cast<std::int64_t>(scaled) : -1;
        integers = integers && static_cast<double>(whole) == scaled;
        if (integers) used_bits |= static_cast<std::uint64_t>(whole);
        singles = singles && static_cast<double>(static_cast<float>(value)) == value;
        if (!integers && !singles) return 0.0;
        power += value * value;
    }
    if (integers) return used_bits == 0 ? 0.0 : std::ldexp(1.0, std::countr_zero(used_bits) - 31);
    // Steps of a single are 2^-23 of the power of two below the value: 2^-23 / mantissa of the value itself, whose mean
    // square over mantissas 1 .. 2 is 1/2 of 2^-46.
    return std::ldexp(1.0, -23) * std::sqrt(0.5 * power / static_cast<double>(samples.size()));
}

double repeating_rounding_power(double step, double scatter_power) {
    if (!(step > 0)) return 0.0;
    const double full = step * step / 12.0;
    // Mean error for noise sigma: sum over m of (-1)^m step/(pi m) exp(-2 pi^2 m^2 sigma^2/step^2) sin(2 pi m x/step).
    const auto repeating = [step](double variance) {
        double sum = 0;
        for (int m = 1; m <= 40; ++m)
            sum += std::exp(-4.0 * std::numbers::pi * std::numbers::pi * m * m * variance / (step * step)) / (m * m);
        return step * step / (2.0 * std::numbers::pi * std::numbers::pi) * sum;
    };
    // What scatters is the noise and the random part of the rounding; find the noise by halving.
    double low = 0, high = scatter_power;
    for (int i = 0; i < 40; ++i) {
        const double middle = 0.5 * (low + high);
        (middle + full - repeating(middle) < scatter_power ? low : high) = middle;
    }
    return std::min(full, repeating(0.5 * (low + high)));
}

}  // namespace coldtune::dsp
