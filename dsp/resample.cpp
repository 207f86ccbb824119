#include "dsp/resample.hpp"

#include <array>
#include <cmath>
#include <numbers>
#include <vector>

namespace coldtune::dsp {
namespace {

constexpr std::size_t taps = 88;
constexpr std::size_t before = taps / 2 - 1;  // samples used before the one at or under the reading point
// Rows of the table per frame; reading between two rows linearly errs by (2 pi 0.45 / 2048)^2 / 8 = -133 dB.
constexpr std::size_t rows = 2048;

// Modified Bessel function of the first kind, order 0, by its power series (Abramowitz & Stegun 9.6.10).
double bessel_i0(double x) {
    const double quarter = x * x / 4.0;
    double term = 1, sum = 1;
    for (int k = 1; term > 1e-17 * sum; ++k) {
        term *= quarter / (static_cast<double>(k) * static_cast<double>(k));
        sum += term;
    }
    return sum;
}

// J. F. Kaiser's design formulas (Oppenheim & Schafer, Discrete-Time Signal Processing, 7.5.3): A = 125 dB gives
// beta = 0.1102 (A - 8.7), and 88 taps then leave a transition of (A - 8) / (2.285 * 87 * 2 pi) = 0.094 of the sample
// rate, from 0.45 up to the first image at 0.55.
constexpr double beta = 0.1102 * (125.0 - 8.7);

const std::vector<double>& table() {
    static const std::vector<double> kernel = [] {
        std::vector<double> values((rows + 1) * taps);
        const double scale = 1.0 / bessel_i0(beta);
        const double half = static_cast<double>(taps) / 2.0;
        for (std::size_t r = 0; r <= rows; ++r) {
            const double fraction = static_cast<double>(r) / static_cast<double>(rows);
            double sum = 0;
            for (std::size_t t = 0; t < taps; ++t) {
                const double x = static_cast<double>(t) - static_cast<double>(before) - fraction;
                const double inside = 1.0 - (x / half) * (x / half);
                const double window = inside > 0 ? bessel_i0(beta * std::sqrt(inside)) * scale : 0.0;
                const double angle = std::numbers::pi * x;
                const double value = (std::abs(x) < 1e-12 ? 1.0 : std::sin(angle) / angle) * window;
                values[r * taps + t] = value;
                sum += value;
            }
            // A constant must come out as itself.
            for (std::size_t t = 0; t < taps; ++t) values[r * taps + t] /= sum;
        }
        return values;
    }();
    return kernel;
}

}  // namespace

void read_at(std::span<const double> signal, double first, double step, std::span<double> out) {
    const double* kernel = table().data();
    const auto size = static_cast<std::ptrdiff_t>(signal.size());
    std::array<double, taps> edge{};
    for (std::size_t i = 0; i < out.size(); ++i) {
        const double position = first + static_cast<double>(i) * step;
        const double whole = std::floor(position);
        const double row = (position - whole) * static_cast<double>(rows);
        const auto lower = static_cast<std::size_t>(row);
        const double between = row - static_cast<double>(lower);
        const auto start = static_cast<std::ptrdiff_t>(whole) - static_cast<std::ptrdiff_t>(before);
        const double* source = nullptr;
        if (start >= 0 && start + static_cast<std::ptrdiff_t>(taps) <= size) {
            source = signal.data() + start;
        } else {
            for (std::size_t t = 0; t < taps; ++t) {
                const std::ptrdiff_t at = start + static_cast<std::ptrdiff_t>(t);
                edge[t] = at >= 0 && at < size ? signal[static_cast<std::size_t>(at)] : 0.0;
            }
            source = edge.data();
        }
        const double* low = kernel + lower * taps;
        const double* high = low + (lower < rows ? taps : 0);
        // Four sums each, so that the compiler may use vector instructions without reordering one sum.
        std::array<double, 4> a{}, b{};
        for (std::size_t t = 0; t < taps; t += 4) {
            for (std::size_t j = 0; j < 4; ++j) {
                a[j] += low[t + j] * source[t + j];
                b[j] += high[t + j] * source[t + j];
            }
        }
        const double at_low = (a[0] + a[1]) + (a[2] + a[3]);
        const double at_high = (b[0] + b[1]) + (b[2] + b[3]);
        out[i] = at_low + between * (at_high - at_low);
    }
}

}  // namespace coldtune::dsp
