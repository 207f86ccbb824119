#include "analyzer/model/wire.hpp"

// Boost 1.74's interpolator calls an unqualified isnan, which only the C header puts in reach.
#include <math.h>

#include <algorithm>
#include <array>
#include <boost/math/interpolators/pchip.hpp>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <utility>
#include <vector>

#include "analyzer/model/inductance.hpp"

namespace coldtune::model {
namespace {

using Complex = std::complex<double>;
using std::numbers::pi;
using std::numbers::sqrt2;

// Ratios of Bessel functions of the first kind at z = x exp(-j pi/4).
struct BesselRatios {
    Complex one_over_zero;  // J1 / J0
    Complex two_over_one;   // J2 / J1
};

// From here on the large-argument expansion has reached rounding: its smallest term is about exp(-2 x), and the second
// travelling wave it drops is exp(-sqrt(2) x) of the first.
constexpr double kAsymptoticFrom = 30;

// J_n is the solution of the three-term recurrence that vanishes as n grows, so the continued fraction
// J_{n+1} / J_n = 1 / (2 (n + 1) / z - J_{n+2} / J_{n+1}) run downwards from any start is stable and converges once n
// exceeds |z|. What a wrong start leaves is the product of (x / 2n)^2 over the orders n from x to the start: less than
// 1e-18 from 1.6 x + 14 on, for any x up to 30.
BesselRatios ratios_by_continued_fraction(double x, Complex z) {
    const Complex two_over_z = 2.0 / z;
    Complex ratio = 0;
    Complex two_over_one = 0;
    for (int n = static_cast<int>(1.6 * x) + 14; n >= 0; --n) {
        // The reciprocal by one real division: both parts are of order n / x, nothing overflows.
        const Complex below = static_cast<double>(n + 1) * two_over_z - ratio;
        ratio = std::conj(below) * (1 / std::norm(below));
        if (n == 1) two_over_one = ratio;
    }
    return {ratio, two_over_one};
}

// Sum over k of j^k a_k(nu) / z^k, the amplitude of the Hankel function that grows in the lower half plane (NIST DLMF
// 10.17.5, from memory).
Complex hankel_amplitude(double order, Complex z) {
    const Complex step = Complex(0, 1) / z;
    Complex term = 1;
    Complex sum = 1;
    for (int k = 1; k < 60; ++k) {
        const double odd = 2.0 * k - 1;
        term *= step * ((4 * order * order - odd * odd) / (8.0 * k));
        if (std::abs(term) < 1e-18) break;
        sum += term;
    }
    return sum;
}

BesselRatios ratios_by_expansion(Complex z) {
    const Complex one_over_zero = Complex(0, -1) * hankel_amplitude(1, z) / hankel_amplitude(0, z);
    return {one_over_zero, 2.0 / z - 1.0 / one_over_zero};
}

Complex argument(double x) {
    return {x / sqrt2, -x / sqrt2};
}

BesselRatios bessel_ratios(double x) {
    const Complex z = argument(x);
    return x < kAsymptoticFrom ? ratios_by_continued_fraction(x, z) : ratios_by_expansion(z);
}

// Internal impedance over DC resistance is (z/2) J0/J1 = 1 - (z/2) J2/J1; the second form keeps the small part of both
// the real and the imaginary side when x is small.
double skin_effect(double x, const BesselRatios& ratios) {
    return 1 - (0.5 * argument(x) * ratios.two_over_one).real();
}

// The dipole a transverse field induces in a round wire goes as J2/J0 (z); its out-of-phase part is the loss.
double transverse_loss(double x, const BesselRatios& ratios) {
    return -x * x / 8 * (ratios.two_over_one * ratios.one_over_zero).imag();
}

double x_of(double wire_diameter_m, double frequency_hz, double resistivity_ohm_m) {
    return wire_diameter_m / 2 * std::sqrt(2 * pi * frequency_hz * kVacuumPermeability / resistivity_ohm_m);
}

// Medhurst's table. Rows: length over diameter, the last one the infinite coil. Columns: wire over pitch 0 .. 1; the
// first is not his but the limit of a wire alone. Read in a secondary copy of the 1947 paper; the entry (0, 0.4), 1.20
// there, is 1.26 from memory and by the smoothness of its neighbours.
constexpr std::size_t kRows = 12;
constexpr std::size_t kColumns = 11;
constexpr std::array<double, kRows - 1> kFiniteLengths{0, 0.2, 0.4, 0.6, 0.8, 1, 2, 4, 6, 8, 10};
constexpr std::array<double, kColumns> kWireOverPitch{0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1};
constexpr std::array<std::array<double, kColumns>, kRows> kProximity{{
    {1, 1.02, 1.07, 1.16, 1.26, 1.44, 1.74, 2.12, 2.74, 3.73, 5.31},
    {1, 1.02, 1.08, 1.19, 1.29, 1.48, 1.77, 2.20, 2.83, 3.84, 5.45},
    {1, 1.03, 1.08, 1.21, 1.33, 1.54, 1.83, 2.28, 2.97, 3.99, 5.65},
    {1, 1.03, 1.10, 1.22, 1.38, 1.60, 1.89, 2.38, 3.10, 4.11, 5.80},
    {1, 1.03, 1.10, 1.23, 1.42, 1.64, 1.92, 2.44, 3.20, 4.17, 5.80},
    {1, 1.03, 1.10, 1.24, 1.45, 1.67, 1.94, 2.47, 3.17, 4.10, 5.55},
    {1, 1.04, 1.13, 1.28, 1.50, 1.74, 1.98, 2.32, 2.74, 3.36, 4.10},
    {1, 1.04, 1.15, 1.32, 1.54, 1.78, 2.01, 2.27, 2.60, 3.05, 3.54},
    {1, 1.04, 1.16, 1.34, 1.56, 1.80, 2.03, 2.29, 2.60, 2.92, 3.31},
    {1, 1.04, 1.165, 1.34, 1.57, 1.81, 2.08, 2.34, 2.62, 2.90, 3.20},
    {1, 1.04, 1.17, 1.35, 1.58, 1.83, 2.10, 2.37, 2.65, 2.93, 3.23},
    {1, 1.05, 1.19, 1.395, 1.65, 1.93, 2.22, 2.51, 2.815, 3.11, 3.41},
}};

// The rows are crossed in s / (1 + s), which puts the infinite coil at 1 and makes its neighbourhood linear in 1/s, as
// end effects are.
double compressed(double length_over_diameter) {
    return std::isinf(length_over_diameter) ? 1 : length_over_diameter / (1 + length_over_diameter);
}

std::vector<double> compressed_rows() {
    std::vector<double> rows;
    rows.reserve(kFiniteLengths.size() + 1);
    for (const double length : kFiniteLengths) rows.push_back(compressed(length));
    rows.push_back(1);
    return rows;
}

// Monotone piecewise cubic: exact at the nodes, smooth, never outside the two values it runs between, so the roundness
// of the printed digits raises no ripple.
using Curve = boost::math::interpolators::pchip<std::vector<double>>;

std::vector<Curve> row_curves() {
    std::vector<Curve> curves;
    curves.reserve(kProximity.size());
    for (const auto& row : kProximity) {
        curves.emplace_back(std::vector<double>(kWireOverPitch.begin(), kWireOverPitch.end()),
                            std::vector<double>(row.begin(), row.end()));
    }
    return curves;
}

}  // namespace

double copper_resistivity_ohm_m(double temperature_c) {
    constexpr double at_20_c = 1e-6 / 58;
    constexpr double per_kelvin = 0.00393;
    return at_20_c * (1 + per_kelvin * (temperature_c - 20));
}

double wire_length_m(const Winding& winding) {
    return winding.turns * std::hypot(pi * winding.diameter_m, winding.length_m / winding.turns);
}

double winding_dc_resistance_ohm(const Winding& winding) {
    const double area = pi / 4 * winding.wire_diameter_m * winding.wire_diameter_m;
    return copper_resistivity_ohm_m(winding.temperature_c) * wire_length_m(winding) / area;
}

double skin_effect_ratio_of_x(double x) {
    return x == 0 ? 1 : skin_effect(x, bessel_ratios(x));
}

double internal_inductance_ratio_of_x(double x) {
    if (x == 0) return 1;
    return -8 / (x * x) * (0.5 * argument(x) * bessel_ratios(x).two_over_one).imag();
}

double transverse_field_loss_of_x(double x) {
    return x == 0 ? 0 : transverse_loss(x, bessel_ratios(x));
}

double skin_effect_ratio(double wire_diameter_m, double frequency_hz, double resistivity_ohm_m) {
    return skin_effect_ratio_of_x(x_of(wire_diameter_m, frequency_hz, resistivity_ohm_m));
}

double internal_inductance_ratio(double wire_diameter_m, double frequency_hz, double resistivity_ohm_m) {
    return internal_inductance_ratio_of_x(x_of(wire_diameter_m, frequency_hz, resistivity_ohm_m));
}

double proximity_factor(double length_over_diameter, double wire_over_pitch) {
    static const std::vector<Curve> rows = row_curves();
    const double column = std::clamp(wire_over_pitch, 0.0, 1.0);
    std::vector<double> at_column;
    at_column.reserve(rows.size());
    for (const Curve& row : rows) at_column.push_back(row(column));
    return Curve(compressed_rows(), std::move(at_column))(compressed(std::max(length_over_diameter, 0.0)));
}

WindingLoss::WindingLoss(const Winding& winding)
    : wire_diameter_m_(winding.wire_diameter_m),
      resistivity_ohm_m_(copper_resistivity_ohm_m(winding.temperature_c)),
      dc_resistance_ohm_(winding_dc_resistance_ohm(winding)),
      proximity_(proximity_factor(winding.length_m / winding.diameter_m,
                                  winding.wire_diameter_m * winding.turns / winding.length_m)) {}

double WindingLoss::ac_resistance_ohm(double frequency_hz) const {
    const double x = x_of(wire_diameter_m_, frequency_hz, resistivity_ohm_m_);
    if (x == 0) return dc_resistance_ohm_;
    const BesselRatios ratios = bessel_ratios(x);
    return dc_resistance_ohm_ * (skin_effect(x, ratios) + 2 * (proximity_ - 1) * transverse_loss(x, ratios));
}

double winding_ac_resistance_ohm(const Winding& winding, double frequency_hz) {
    return WindingLoss(winding).ac_resistance_ohm(frequency_hz);
}

}  // namespace coldtune::model
