#include "dsp/excited_bins.hpp"

#include <algorithm>
#include <array>
#include <cmath>

namespace coldtune::dsp {

double typical_power(std::span<const double> power) {
    // Energy by octave of power: 2^-1100 .. 2^1100 covers every double.
    std::vector<double> octave(2300, 0.0);
    double total = 0;
    for (const double p : power) {
        if (!(p > 1e-300)) continue;
        octave[static_cast<std::size_t>(std::clamp(std::ilogb(p) + 1150, 0, 2299))] += p;
        total += p;
    }
    double below = 0;
    for (std::size_t o = 0; o < octave.size(); ++o) {
        below += octave[o];
        if (total > 0 && below >= 0.5 * total) return std::ldexp(1.0, static_cast<int>(o) - 1150);
    }
    return 0.0;
}

std::vector<std::size_t> excited_lines(std::span<const double> power) {
    const double typical = typical_power(power);
    std::vector<std::size_t> lines;
    lines.reserve(power.size());
    if (!(typical > 0)) return lines;
    for (std::size_t i = 0; i < power.size(); ++i)
        if (power[i] >= 1e-6 * typical) lines.push_back(i);
    if (lines.size() < 3) return lines;

    std::vector<std::size_t> gaps(lines.size() - 1);
    for (std::size_t i = 0; i < gaps.size(); ++i) gaps[i] = lines[i + 1] - lines[i];
    auto sorted = gaps;
    const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() / 2);
    std::nth_element(sorted.begin(), middle, sorted.end());
    const std::size_t widest = 16 * *middle;

    double total = 0;
    for (const std::size_t i : lines) total += power[i];
    std::vector<std::size_t> kept;
    for (std::size_t from = 0; from < lines.size();) {
        std::size_t to = from + 1;
        double energy = power[lines[from]];
        while (to < lines.size() && gaps[to - 1] <= widest) energy += power[lines[to++]];
        if (energy >= 1e-3 * total || 20 * (to - from) >= lines.size())
            kept.insert(kept.end(), lines.begin() + static_cast<std::ptrdiff_t>(from),
                        lines.begin() + static_cast<std::ptrdiff_t>(to));
        from = to;
    }
    return kept;
}

}  // namespace coldtune::dsp
