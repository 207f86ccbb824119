#include "analyzer/model/handbook.hpp"

// Boost 1.74's interpolator calls an unqualified isnan, which only the C header puts in reach.
#include <math.h>

#include <algorithm>
#include <array>
#include <boost/math/interpolators/pchip.hpp>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <utility>
#include <variant>
#include <vector>

#include "analyzer/model/capacitance.hpp"
#include "analyzer/model/elliptic.hpp"
#include "analyzer/model/inductance.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;

// Medhurst's table: length over diameter, pF per cm of diameter. Read in a secondary copy of the 1947 paper; a typing
// error in circulation has 0.7 for 0.47 at 0.70.
constexpr std::size_t kNodes = 33;
constexpr std::array<double, kNodes> kLengthOverDiameter{
    0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50, 0.60, 0.70, 0.80, 0.90, 1.0, 1.5, 2.0, 2.5,
    3.0,  3.5,  4.0,  4.5,  5.0,  6.0,  7.0,  8.0,  9.0,  10,   15,   20,   25,   30,  40,  50};
constexpr std::array<double, kNodes> kPicofaradPerCentimetre{
    0.96, 0.79, 0.70, 0.64, 0.60, 0.57, 0.54, 0.52, 0.50, 0.48, 0.47, 0.46, 0.46, 0.46, 0.47, 0.50, 0.56,
    0.61, 0.67, 0.72, 0.77, 0.81, 0.92, 1.01, 1.12, 1.22, 1.32, 1.86, 2.36, 2.90, 3.4,  4.6,  5.8};
constexpr double kFaradPerMetre = 1e-10;  // of 1 pF/cm

using Curve = boost::math::interpolators::pchip<std::vector<double>>;

Curve medhurst_curve() {
    std::vector<double> logarithms;
    logarithms.reserve(kLengthOverDiameter.size());
    for (const double ratio : kLengthOverDiameter) logarithms.push_back(std::log(ratio));
    return {std::move(logarithms), std::vector<double>(kPicofaradPerCentimetre.begin(), kPicofaradPerCentimetre.end())};
}

// Sum of Q_{n-1/2}/P_{n-1/2} (cosh xi), the first term once and the others twice (NIST DLMF 14.19). P grows and Q
// decays with the order, so the ratios of neighbours are run upwards for P and downwards for Q; both directions are
// the stable ones.
double toroidal_sum(double xi) {
    const double x = std::cosh(xi);
    // Terms fall as exp(-2 n xi): forty nepers are below rounding. The ratio of Q started wrong at the far end is
    // forgotten at the same rate.
    const auto orders = static_cast<std::size_t>(std::ceil(20 / xi)) + 20;

    std::vector<double> q_ratio(orders + 1);  // [n] = Q_{n+1/2} / Q_{n-1/2}
    q_ratio[orders] = std::exp(-xi);
    for (std::size_t n = orders; n-- > 0;) {
        const auto order = static_cast<double>(n + 1);
        q_ratio[n] = (order - 0.5) / (2 * order * x - (order + 0.5) * q_ratio[n + 1]);
    }

    const double half_cosh = std::cosh(xi / 2);
    const double p_first = 2 / (pi * half_cosh) * elliptic_k_complement(1 / (half_cosh * half_cosh));
    const double p_second = 2 / pi * std::exp(xi / 2) * elliptic_e_complement(std::exp(-2 * xi));
    const double q_first = 2 * std::exp(-xi / 2) * elliptic_k_complement(-std::expm1(-2 * xi));

    double term = q_first / p_first;
    double sum = term;
    double p_ratio = p_second / p_first;  // P_{n+1/2} / P_{n-1/2}
    for (std::size_t n = 0; n < orders; ++n) {
        term *= q_ratio[n] / p_ratio;
        sum += 2 * term;
        const auto order = static_cast<double>(n + 1);
        p_ratio = (2 * order * x - (order - 0.5) / p_ratio) / (order + 0.5);
    }
    return sum;
}

}  // namespace

double medhurst_f_per_m(double length_over_diameter) {
    static const Curve curve = medhurst_curve();
    const double first = kLengthOverDiameter.front();
    const double last = kLengthOverDiameter.back();
    double h = 0;
    if (length_over_diameter < first) {
        const double power = std::log(kPicofaradPerCentimetre[1] / kPicofaradPerCentimetre[0]) /
                             std::log(kLengthOverDiameter[1] / kLengthOverDiameter[0]);
        h = kPicofaradPerCentimetre[0] * std::pow(length_over_diameter / first, power);
    } else if (length_over_diameter > last) {
        const double slope = (kPicofaradPerCentimetre[kNodes - 1] - kPicofaradPerCentimetre[kNodes - 2]) /
                             (last - kLengthOverDiameter[kNodes - 2]);
        h = kPicofaradPerCentimetre[kNodes - 1] + slope * (length_over_diameter - last);
    } else {
        h = curve(std::log(length_over_diameter));
    }
    return h * kFaradPerMetre;
}

double isolated_capacitance_f(const Sphere& sphere) {
    return 2 * pi * kVacuumPermittivity * sphere.diameter_m;
}

double isolated_capacitance_f(const Disc& disc) {
    return 4 * kVacuumPermittivity * disc.diameter_m;
}

double isolated_capacitance_f(const Toroid& toroid) {
    const double tube_radius = toroid.tube_diameter_m / 2;
    const double ring_radius = toroid.outer_diameter_m / 2 - tube_radius;
    // cosh xi = R/a. The series needs about 20/xi terms, so the closing hole is stopped at a relative 1e-8; the
    // capacitance is smooth there and moves by less than that.
    const double over_one = std::max((ring_radius - tube_radius) / tube_radius, 1e-8);
    const double xi = std::log1p(over_one + std::sqrt(over_one * (over_one + 2)));
    return 8 * kVacuumPermittivity * tube_radius * std::sinh(xi) * toroidal_sum(xi);
}

double isolated_capacitance_f(std::span<const TopLoadBody> topload) {
    double sum = 0;
    for (const TopLoadBody& body : topload) {
        sum += std::visit([](const auto& shape) { return isolated_capacitance_f(shape); }, body);
    }
    return sum;
}

Handbook handbook_values(const CoilDescription& coil) {
    const Winding& winding = coil.secondary;
    Handbook result;
    result.inductance_h = winding_inductance_h(winding);
    result.capacitance_f = medhurst_f_per_m(winding.length_m / winding.diameter_m) * winding.diameter_m +
                           isolated_capacitance_f(std::span<const TopLoadBody>(coil.topload));
    result.frequency_hz = 1 / (2 * pi * std::sqrt(result.inductance_h * result.capacitance_f));
    return result;
}

}  // namespace coldtune::model
