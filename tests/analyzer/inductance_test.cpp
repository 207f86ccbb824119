// Structure of the inductances; their agreement with printed values is in tests/outside.
#include "analyzer/model/inductance.hpp"

#include <gtest/gtest.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <boost/math/quadrature/tanh_sinh.hpp>
#include <chrono>
#include <cmath>
#include <numbers>
#include <random>

namespace coldtune::model {
namespace {

Winding winding(double diameter_m, double length_m, double turns, double wire_m) {
    Winding w;
    w.diameter_m = diameter_m;
    w.length_m = length_m;
    w.turns = turns;
    w.wire_diameter_m = wire_m;
    return w;
}

TEST(SectionInductance, SumIsSheetMinusRosaForAnyNumberOfSections) {
    const Winding w = winding(0.11, 0.5, 1017.3, 0.4e-3);
    const double whole = winding_inductance_h(w);
    for (const std::size_t sections : {1u, 2u, 3u, 4u, 5u, 6u, 7u, 17u, 60u, 333u, 1017u}) {
        // The sum of n^2 entries of one sign: rounding grows with n, 1e-12 is far below any use.
        EXPECT_NEAR(section_inductance_h(w, sections).sum() / whole, 1, 1e-12) << sections;
    }
}

TEST(SectionInductance, IsSymmetricToeplitzFallingAndPositiveDefinite) {
    std::mt19937 random(20260);
    std::uniform_real_distribution<double> unit(0, 1);
    for (int trial = 0; trial < 60; ++trial) {
        const double diameter = 0.01 * std::pow(100, unit(random));
        const double turns = std::floor(20 * std::pow(100, unit(random)));
        const double length = diameter * 0.2 * std::pow(100, unit(random));
        const double wire = length / turns * (0.05 + 0.95 * unit(random));
        if (wire > diameter / 2) continue;
        const auto sections = static_cast<std::size_t>(std::clamp(2 + 60 * unit(random), 2.0, turns));
        const Eigen::MatrixXd matrix = section_inductance_h(winding(diameter, length, turns, wire), sections);
        const auto n = matrix.rows();
        for (Eigen::Index i = 0; i + 1 < n; ++i) {
            EXPECT_EQ(matrix(0, i), matrix(i, 0));
            EXPECT_EQ(matrix(0, 0), matrix(i + 1, i + 1));
            EXPECT_GT(matrix(0, i), matrix(0, i + 1)) << "trial " << trial << " section " << i;
            EXPECT_GT(matrix(0, i + 1), 0);
        }
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(matrix, Eigen::EigenvaluesOnly);
        EXPECT_GT(solver.eigenvalues().minCoeff(), 0) << "trial " << trial;
    }
}

TEST(SectionInductance, FarSectionsAgreeWithDifferencesOfLengths) {
    // Sections four and more lengths apart come from an integral of rings, nearer ones from differences of Lorenz
    // lengths. The differences are still good to about 1e-11 here, which is the tolerance.
    const double diameter = 0.2;
    for (const double length : {0.005, 0.05, 0.5}) {
        const std::size_t sections = 9;
        // Wire and turns chosen so that the corrections vanish: one turn per section leaves pair sums 0 only for the
        // sheet, so compare the matrix without them through a winding of very many turns, scaled back.
        const double turns = 9e6;
        const Winding w = winding(diameter, length * 9, turns, 1e-9);
        const double density = turns / (length * 9);
        const Eigen::MatrixXd matrix = section_inductance_h(w, sections);
        for (Eigen::Index k = 1; k < 9; ++k) {
            const auto at = [&](double count) { return unit_sheet_inductance_h(diameter, length * count); };
            const auto apart = static_cast<double>(k);
            const double expected = 0.5 * (at(apart + 1) + at(apart - 1) - 2 * at(apart)) * density * density;
            const double lost_digits = at(apart) * density * density / expected;
            // Pair corrections at 1e6 turns a section: below 2e-6 of the neighbour's entry, 1e-7 beyond.
            EXPECT_NEAR(matrix(0, k) / expected, 1, 3e-6 + 1e-15 * lost_digits) << length << ' ' << k;
        }
    }
}

TEST(SheetInductance, IsTheDoubleIntegralOfRings) {
    // A sheet's inductance from the ring kernel alone: 2 int_0^l (l - t) m(t) dt, its logarithmic peak taken by a
    // double-exponential rule of another library to 1e-12.
    boost::math::quadrature::tanh_sinh<double> rule;
    for (const double length : {0.01, 0.3, 2.0, 40.0}) {
        const double radius = 0.5;
        const double direct =
            2 * rule.integrate([&](double t) { return (length - t) * coaxial_rings_mutual_h(radius, radius, t); }, 0.0,
                               length, 1e-13);
        EXPECT_NEAR(unit_sheet_inductance_h(2 * radius, length) / direct, 1, 1e-11) << length;
    }
}

TEST(SheetInductance, LimitsOfLengthKeepTheirDigits) {
    // Very long: mu0 pi r^2 (l - 8r/(3 pi)), next term r^2/(2l): Lorenz's expansion (textbook). Very short:
    // mu0 r l^2 (ln(8r/l) - 1/2), next term (l/r)^2 (ln + ..)/32.
    const double r = 0.5;
    const double longest = 1e6;
    EXPECT_NEAR(
        unit_sheet_inductance_h(1, longest) / (kVacuumPermeability * std::numbers::pi * r * r *
                                               (longest - 8 * r / (3 * std::numbers::pi) + r * r / (2 * longest))),
        1, 1e-14);
    for (const double shortest : {1e-6, 1e-9, 1e-12}) {
        EXPECT_NEAR(unit_sheet_inductance_h(1, shortest) /
                        (kVacuumPermeability * r * shortest * shortest * (std::log(8 * r / shortest) - 0.5)),
                    1, 1e-11)
            << shortest;
    }
    EXPECT_EQ(unit_sheet_inductance_h(1, 0), 0);
}

TEST(RingMutual, IsReciprocalAndScalesAsLength) {
    std::mt19937 random(7);
    std::uniform_real_distribution<double> exponent(-3, 3);
    for (int trial = 0; trial < 200; ++trial) {
        const double a = std::pow(10, exponent(random));
        const double b = std::pow(10, exponent(random));
        const double h = std::pow(10, exponent(random));
        const double mutual = coaxial_rings_mutual_h(a, b, h);
        EXPECT_GT(mutual, 0);
        EXPECT_DOUBLE_EQ(mutual, coaxial_rings_mutual_h(b, a, -h));
        EXPECT_NEAR(coaxial_rings_mutual_h(8 * a, 8 * b, 8 * h) / mutual, 8, 1e-13);
    }
}

TEST(RingMutual, TouchingRingsAndFarRingsKeepTheirDigits) {
    // Textbook limits: mu0 a (ln(8a/h) - 2), relative rest h^2 ln/a^2; mu0 pi a^2 b^2 / (2 h^3), rest a^2/h^2.
    EXPECT_NEAR(coaxial_rings_mutual_h(1, 1, 1e-10) / (kVacuumPermeability * (std::log(8e10) - 2)), 1, 1e-14);
    EXPECT_NEAR(coaxial_rings_mutual_h(1, 2, 1e8) / (kVacuumPermeability * std::numbers::pi * 4 / 2e24), 1, 1e-14);
}

TEST(RingSheetMutual, DoesNotDependOnHowTheSheetIsCut) {
    // Whole against ten parts: the rule takes different orders and pieces, so agreement shows both are at rounding.
    for (const double radius : {0.02, 0.049, 0.051, 0.2}) {
        for (const double height : {-0.3, -0.001, 0.2, 0.499, 0.6}) {
            const double whole = ring_sheet_mutual_h(radius, height, 0.05, 0, 0.5, 1000);
            double parts = 0;
            for (int i = 0; i < 10; ++i)
                parts += ring_sheet_mutual_h(radius, height, 0.05, 0.05 * i, 0.05 * (i + 1), 100);
            EXPECT_NEAR(parts / whole, 1, 1e-12) << radius << ' ' << height;
        }
    }
}

TEST(SectionInductance, SixtySectionsTakeWellUnderAMillisecond) {
    const Winding w = winding(0.11, 0.5, 1000, 0.4e-3);
    auto best = std::chrono::nanoseconds::max();
    double kept = 0;
    for (int i = 0; i < 50; ++i) {
        const auto start = std::chrono::steady_clock::now();
        kept += section_inductance_h(w, 60)(0, 1);
        best = std::min<std::chrono::nanoseconds>(best, std::chrono::steady_clock::now() - start);
    }
    EXPECT_GT(kept, 0);
    // About 0.03 ms measured; the limit is the share of the 10 ms solve it may take, and leaves room for sanitizers.
    EXPECT_LT(best, std::chrono::milliseconds(1));
}

}  // namespace
}  // namespace coldtune::model
