// Gaussian noise that is the same on every machine: the generator is fixed by the C++ standard, the shaping is ours.
#pragma once

#include <cmath>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

namespace coldtune::bench {

// Spreads neighbouring seeds over the whole state space (the finaliser of S. Vigna's public-domain splitmix64).
inline std::uint64_t scatter_seed(std::uint64_t value) {
    value += 0x9E3779B97F4A7C15ULL;
    value = (value ^ (value >> 30)) * 0xBF58476D1CE4E5B9ULL;
    value = (value ^ (value >> 27)) * 0x94D049BB133111EBULL;
    return value ^ (value >> 31);
}

// Adds white Gaussian noise of this rms (G. E. P. Box and M. E. Muller, Ann. Math. Stat. 29, 610 (1958)). The
// distributions of <random> differ between libraries, std::mt19937_64 does not.
inline void add_noise(std::vector<double>& samples, double rms, std::uint64_t seed) {
    std::mt19937_64 engine(seed);
    for (std::size_t i = 0; i < samples.size(); i += 2) {
        const double uniform = (static_cast<double>(engine() >> 11) + 1) * 0x1p-53;  // (0, 1]
        const double angle = 2 * std::numbers::pi * static_cast<double>(engine() >> 11) * 0x1p-53;
        const double radius = rms * std::sqrt(-2 * std::log(uniform));
        samples[i] += radius * std::cos(angle);
        if (i + 1 < samples.size()) samples[i + 1] += radius * std::sin(angle);
    }
}

}  // namespace coldtune::bench
