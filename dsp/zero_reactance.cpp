#include "dsp/zero_reactance.hpp"

#include <cmath>

namespace coldtune::dsp {

std::optional<double> find_zero_reactance(const ResonanceModel& model, const double* theta, double frequency_hz,
                                          double q) {
    const auto frequency = [&](double u) {
        const double half = u / (2 * q);
        return frequency_hz * (half + std::sqrt(1 + half * half));
    };
    const auto imaginary = [&](double u) { return model.immittance(frequency(u), theta).imag(); };
    const double here = imaginary(0);
    const double direction = here > 0 ? 1.0 : -1.0;
    constexpr double step = 1.0 / 32;
    double inner = 0;
    double outer = here == 0 ? 0 : step;
    while (outer < 3 && imaginary(direction * outer) * here > 0) {
        inner = outer;
        outer += step;
    }
    if (outer >= 3) return std::nullopt;
    for (int i = 0; i < 60; ++i) {
        const double middle = (inner + outer) / 2;
        (imaginary(direction * middle) * here > 0 ? inner : outer) = middle;
    }
    return frequency(direction * (inner + outer) / 2);
}

}  // namespace coldtune::dsp
