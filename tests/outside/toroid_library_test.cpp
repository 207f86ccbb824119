// Isolated capacitances against exact formulas and, for the torus, the toroidal-function series evaluated by another
// route.
#include <gtest/gtest.h>

#include <array>
#include <boost/math/quadrature/exp_sinh.hpp>
#include <boost/math/quadrature/trapezoidal.hpp>
#include <cmath>
#include <numbers>

#include "analyzer/model/handbook.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;

constexpr double kPermittivity = 8.8541878128e-12;  // F/m, CODATA 2018
constexpr double kSphereOfOneMetre = 4 * pi * kPermittivity;

Toroid toroid(double ring_over_tube_radius) {
    return {2 * (ring_over_tube_radius + 1), 2, 0};
}

TEST(IsolatedCapacitance, SphereAndDisc) {
    // Textbook: 4 pi eps0 a, 111.2650055 pF per metre of radius (from memory and computed). Disc: 8 eps0 a, 70.8335025
    // pF per metre, ratio 2/pi (Encyclopaedia Britannica, 11th ed., 'Electrostatics'; read in a secondary copy). Ten
    // digits.
    EXPECT_NEAR(isolated_capacitance_f(Sphere{2, 0}) * 1e12, 111.2650055, 1e-7);
    EXPECT_NEAR(isolated_capacitance_f(Disc{2, 0}) * 1e12, 70.8335025, 1e-7);
}

TEST(IsolatedCapacitance, TorusByIntegralsOfAnotherLibrary) {
    // NIST DLMF 14.19 (read in the source) for the series; each toroidal function from its own Laplace integral
    // (textbook) by Boost.Math's quadrature instead of recurrences:
    //   P_{n-1/2}(x) = 1/pi int_0^pi (x + s cos t)^(n-1/2) dt,  Q_{n-1/2}(x) = int_0^inf (x + s cosh t)^(-n-1/2) dt.
    boost::math::quadrature::exp_sinh<double> half_line;
    for (const double x : {1.1, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 50.0}) {
        const double s = std::sqrt(x * x - 1);
        double sum = 0;
        for (int n = 0;; ++n) {
            const double p = boost::math::quadrature::trapezoidal(
                                 [&](double t) { return std::pow(x + s * std::cos(t), n - 0.5); }, 0.0, pi, 1e-13, 20) /
                             pi;
            const double q = half_line.integrate(
                [&](double t) {
                    // Beyond this cosh overflows and the integrand is nothing.
                    return t > 600 ? 0.0 : std::pow(x + s * std::cosh(t), -n - 0.5);
                },
                1e-13);
            const double term = (n == 0 ? 1 : 2) * q / p;
            sum += term;
            if (term < 1e-14 * sum) break;
        }
        // Quadratures asked for 1e-13.
        EXPECT_NEAR(isolated_capacitance_f(toroid(x)) / (8 * kPermittivity * s * sum), 1, 1e-11) << x;
    }
}

TEST(IsolatedCapacitance, TorusTable) {
    // C/(4 pi eps0 R) against R/a; computed independently (mpmath and a double recurrence agree).
    struct Row {
        double ratio, value;
    };
    constexpr std::array<Row, 16> table{{{1.01, 1.73116295362},
                                         {1.1, 1.64737907085},
                                         {1.25, 1.53392550472},
                                         {1.5, 1.39395573308},
                                         {2, 1.21583520623},
                                         {2.5, 1.10601460572},
                                         {3, 1.03059145588},
                                         {4, 0.931920973191},
                                         {5, 0.868710349893},
                                         {6, 0.823788752697},
                                         {8, 0.762611843331},
                                         {10, 0.721689880459},
                                         {20, 0.620295399956},
                                         {50, 0.524564875508},
                                         {100, 0.470031076141},
                                         {1000, 0.349563753108}}};
    for (const Row& row : table) {
        EXPECT_NEAR(isolated_capacitance_f(toroid(row.ratio)) / (kSphereOfOneMetre * row.ratio) / row.value, 1, 1e-11)
            << row.ratio;  // their twelve digits
    }
}

TEST(IsolatedCapacitance, TorusAsItsHoleCloses) {
    // A. C. M. de Queiroz, list post of March 2004 (read in the source): overall diameter 1 m, eps0
    // = 8.85418781762e-12, which is 5.4e-10 below today's. Tolerance 1e-9 after that is taken out.
    struct Row {
        double tube, picofarad;
    };
    constexpr std::array<Row, 3> table{
        {{0.4999, 48.4368795055402}, {0.49999, 48.4384920747714}, {0.499999, 48.4386533223057}}};
    for (const Row& row : table) {
        const double ours = isolated_capacitance_f(Toroid{1, row.tube, 0}) * 1e12 * 8.85418781762e-12 / kPermittivity;
        EXPECT_NEAR(ours / row.picofarad, 1, 1e-9) << row.tube;
    }
    // The limit without a hole, 48.43867 pF there; seven digits.
    EXPECT_NEAR(isolated_capacitance_f(Toroid{1, 0.5, 0}) * 1e12, 48.43867, 5e-6);
}

TEST(IsolatedCapacitance, ThinTorusIsARingOfWire) {
    // 4 pi^2 eps0 R / ln(8R/a) (textbook); at R/a = 1e6 the rest is of order (a/R)^2.
    const double ratio = 1e6;
    EXPECT_NEAR(isolated_capacitance_f(toroid(ratio)) / (4 * pi * pi * kPermittivity * ratio / std::log(8 * ratio)), 1,
                1e-10);
}

}  // namespace
}  // namespace coldtune::model
