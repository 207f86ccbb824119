// Properties of the capacitance matrix that no table is needed for.
#include "analyzer/model/capacitance.hpp"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "analyzer/model/coil_conductors.hpp"
#include "analyzer/model/secondary_modes.hpp"
#include "analyzer/model/strip_interaction.hpp"

namespace coldtune::model {
namespace {

constexpr unsigned kSeed = 20240917;

CoilDescription random_coil(std::mt19937& random) {
    const auto between = [&](double low, double high) { return std::uniform_real_distribution<>(low, high)(random); };
    CoilDescription coil;
    const double diameter = between(0.03, 0.6);
    const double length = diameter * between(0.5, 10);
    coil.secondary = {.diameter_m = diameter,
                      .length_m = length,
                      .turns = 1000,
                      .wire_diameter_m = 0.7e-3 * length,
                      .base_height_m = between(0.02, 1),
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    coil.surroundings.ground = between(0, 1) < 0.8;
    double top = 0.02 * diameter;
    const int bodies = static_cast<int>(between(0, 2.99));
    for (int i = 0; i < bodies; ++i) {
        const double size = diameter * between(0.3, 4);
        const int shape = static_cast<int>(between(0, 2.99));
        if (shape == 0) {
            const double tube = size * between(0.05, 0.49);
            coil.topload.emplace_back(Toroid{size, tube, top + 0.6 * tube});
            top += 1.2 * tube;
        } else if (shape == 1) {
            coil.topload.emplace_back(Sphere{size, top + 0.51 * size});
            top += 1.02 * size;
        } else {
            coil.topload.emplace_back(Disc{size, top + 0.02 * size});
            top += 0.04 * size;
        }
    }
    if (between(0, 1) < 0.3) coil.surroundings.wall_radius_m = diameter * between(3, 10);
    if (between(0, 1) < 0.3) coil.surroundings.ceiling_height_m = coil.secondary.base_height_m + length + 3 * top + 1;
    if (between(0, 1) < 0.3) {
        coil.primary = Primary{.inner_diameter_m = 1.3 * diameter,
                               .pitch_m = 0.05 * diameter,
                               .turns = 10,
                               .conductor_diameter_m = 0.02 * diameter,
                               .angle_deg = between(0, 90),
                               .base_height_m = coil.secondary.base_height_m};
    }
    return coil;
}

TEST(Capacitance, SymmetricPositiveDefiniteOverRandomGeometry) {
    std::mt19937 random(kSeed);
    for (int trial = 0; trial < 40; ++trial) {
        const CoilDescription coil = random_coil(random);
        const MaxwellSolution solution = solve_maxwell(coil_conductors(coil, 10));
        const Eigen::MatrixXd& c = solution.capacitance_f;
        ASSERT_TRUE(c.allFinite()) << "seed " << kSeed << ", trial " << trial;
        // Built as a Gram matrix: symmetric to the last digit.
        EXPECT_EQ((c - c.transpose()).cwiseAbs().maxCoeff(), 0) << "seed " << kSeed << ", trial " << trial;
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(c);
        // The highest charge pattern stores some thousand times less per volt than the whole, not 1e6 times.
        EXPECT_GT(eigen.eigenvalues()(0), 1e-6 * eigen.eigenvalues()(10)) << "seed " << kSeed << ", trial " << trial;
        // Reciprocity of the top load: its charge with everything at one volt is at most the whole charge.
        EXPECT_LE(solution.counted_charge_f.sum(), c.sum() * (1 + 1e-9)) << "seed " << kSeed << ", trial " << trial;
    }
}

TEST(Capacitance, DoesNotDependOnTheOrderOfBodies) {
    // The same charges, assembled the other way round: only rounding (and the integrals' tolerance) may differ.
    const std::vector<Strip> low = sphere_meridian(1, 0.6, {4, 3});
    const std::vector<Strip> high = toroid_meridian(1.4, 0.3, 1.5, {5, 3});
    ConductorSet one;
    one.nodes = 2;
    one.ground = true;
    ConductorSet other = one;
    append_conductor(one, low, 0);
    append_conductor(one, high, 1);
    append_conductor(other, high, 1);
    append_conductor(other, low, 0);
    const Eigen::MatrixXd a = solve_maxwell(one, 1e-9).capacitance_f;
    const Eigen::MatrixXd b = solve_maxwell(other, 1e-9).capacitance_f;
    EXPECT_LT((a - b).norm() / a.norm(), 1e-8);
    EXPECT_LT(a(0, 1), 0);  // induced charge has the other sign
}

TEST(Capacitance, ScalesWithSize) {
    // Farads go with metres: exactly the same numbers at a thousandth of the size.
    const double large = capacitance_of(toroid_meridian(2, 0.4, 1.0, {6, 3}), true);
    const double small = capacitance_of(toroid_meridian(2e-3, 0.4e-3, 1e-3, {6, 3}), true);
    EXPECT_NEAR(small / large, 1e-3, 1e-12);
}

TEST(Capacitance, RefinementOnlyRaisesIt) {
    // Thomson's principle: the energy of the best charge in a space is above the true one, so capacitance comes from
    // below, and a space that contains another gives more. 1e-9: the integrals' own error.
    double last = 0;
    for (int degree = 0; degree <= 5; ++degree) {
        const double value = capacitance_of(disc_meridian(2, 0, {2, degree}), false, 1e-11);
        EXPECT_GT(value, last * (1 - 1e-9)) << degree;
        last = value;
    }
    EXPECT_LE(last, 8 * kVacuumPermittivity * (1 + 1e-9));
}

TEST(Capacitance, UniformRunIsOnlyAShortcut) {
    CoilDescription coil;
    coil.secondary = {.diameter_m = 0.1,
                      .length_m = 0.4,
                      .turns = 500,
                      .wire_diameter_m = 0.5e-3,
                      .base_height_m = 0.1,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    ConductorSet quick = coil_conductors(coil, 12);
    ASSERT_GT(quick.uniform_last, quick.uniform_first);
    ConductorSet plain = quick;
    plain.uniform_first = plain.uniform_last = 0;
    const Eigen::MatrixXd a = solve_maxwell(quick, 1e-9).capacitance_f;
    const Eigen::MatrixXd b = solve_maxwell(plain, 1e-9).capacitance_f;
    EXPECT_LT((a - b).norm() / a.norm(), 1e-9);
}

TEST(Capacitance, TubeInsideAWallIsACoaxialLine) {
    // Far from its ends a tube in a grounded cylinder holds 2 pi eps0 / ln(b/a) per metre (textbook, from memory): the
    // difference between two lengths leaves the ends out. They are separated by several radii of the gap: 1e-6.
    const auto total = [](double length) {
        ConductorSet set;
        set.nodes = 1;
        append_conductor(set, tube_meridian(0.2, -length / 2, length / 2, {24, 5}), 0);
        append_conductor(
            set, straight_meridian({0.3, -length}, {0.3, length}, {80, 4}, StripEnd::smooth, StripEnd::smooth), -1);
        return solve_maxwell(set).capacitance_f(0, 0);
    };
    const double per_metre = (total(3.0) - total(2.0)) / 1.0;
    EXPECT_NEAR(per_metre / (2 * std::numbers::pi * kVacuumPermittivity / std::log(3.0)), 1, 1e-6);
}

TEST(Capacitance, GroundAndCeilingAreTheirMeshedSelves) {
    // Images against a large grounded disc in the place of the plane: a sphere between ground and ceiling. The disc
    // ends at 12 times its distance, where the field between two planes has fallen by exp(-12 pi).
    ConductorSet images;
    images.nodes = 1;
    images.ground = true;
    images.ceiling_height_m = 3;
    append_conductor(images, sphere_meridian(1, 1, {6, 5}), 0);
    ConductorSet meshed = images;
    meshed.ceiling_height_m.reset();
    append_conductor(meshed, straight_meridian({0, 3}, {36, 3}, {40, 3}, StripEnd::smooth, StripEnd::smooth), -1);
    const double by_images = solve_maxwell(images, 1e-9).capacitance_f(0, 0);
    const double by_mesh = solve_maxwell(meshed, 1e-9).capacitance_f(0, 0);
    // Seventeen images and the first term of the tail: what the tail leaves is of order (1/2nH)^5 summed.
    EXPECT_NEAR(by_images / by_mesh, 1, 1e-6);
    // Ceiling alone: the mirror image of ground alone.
    ConductorSet upside_down;
    upside_down.nodes = 1;
    upside_down.ceiling_height_m = 3;
    append_conductor(upside_down, sphere_meridian(1, 2, {6, 5}), 0);
    EXPECT_NEAR(solve_maxwell(upside_down, 1e-9).capacitance_f(0, 0) /
                    capacitance_of(sphere_meridian(1, 1, {6, 5}), true, 1e-9),
                1, 1e-9);
}

TEST(Capacitance, GroundedNeighboursRaiseIt) {
    // Every grounded conductor brought near raises the capacitance of a body (textbook); in order of their nearness.
    CoilDescription coil;
    coil.secondary = {.diameter_m = 0.1,
                      .length_m = 0.4,
                      .turns = 500,
                      .wire_diameter_m = 0.5e-3,
                      .base_height_m = 0.3,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    const auto total = [](const CoilDescription& description) {
        return solve_maxwell(coil_conductors(description, 8)).capacitance_f.sum();
    };
    coil.surroundings.ground = false;
    const double alone = total(coil);
    coil.surroundings.ground = true;
    const double over_ground = total(coil);
    EXPECT_GT(over_ground, alone);
    coil.surroundings.ceiling_height_m = 1.5;
    const double below_ceiling = total(coil);
    EXPECT_GT(below_ceiling, over_ground);
    coil.surroundings.wall_radius_m = 0.5;
    EXPECT_GT(total(coil), below_ceiling);
    coil.surroundings.ceiling_height_m.reset();
    coil.surroundings.wall_radius_m.reset();
    coil.surroundings.strike_ring = Surroundings::StrikeRing{0.3, 0.01, 0.6};
    EXPECT_GT(total(coil), over_ground);
    coil.surroundings.strike_ring.reset();
    coil.primary = Primary{0.15, 0.01, 8, 0.006, 0, 0.3};
    EXPECT_GT(total(coil), over_ground);
}

TEST(Capacitance, WorkingChargeIsFineEnough) {
    // Raising the degree of the charge everywhere by three moves the energy by less than 4e-5, the first mode by half
    // of that: a fiftieth of what the number of sections is chosen for. Two bodies that cross (a fault of the drawing,
    // but one that must give a number) cost up to 1e-3 in frequency.
    std::mt19937 random(kSeed);
    const auto energy = [](const CoilDescription& coil, int extra) {
        // Linear voltage, close to the first mode.
        const Eigen::MatrixXd c =
            solve_maxwell(coil_conductors(coil, 12, extra), extra == 0 ? 1e-7 : 1e-10).capacitance_f;
        const Eigen::VectorXd v = Eigen::VectorXd::LinSpaced(13, 0, 1);
        return v.dot(c * v);
    };
    for (int trial = 0; trial < 12; ++trial) {
        const CoilDescription coil = random_coil(random);
        EXPECT_NEAR(energy(coil, 0) / energy(coil, 3), 1, 4e-5) << "seed " << kSeed << ", trial " << trial;
    }
    CoilDescription crossing;
    crossing.secondary = {.diameter_m = 0.11,
                          .length_m = 0.5,
                          .turns = 1000,
                          .wire_diameter_m = 0.4e-3,
                          .base_height_m = 0.3,
                          .temperature_c = 20,
                          .overall_wire_diameter_m = {}};
    crossing.topload = {Toroid{0.4, 0.1, 0.08}, Sphere{0.3, 0.1}};
    EXPECT_NEAR(energy(crossing, 0) / energy(crossing, 3), 1, 2e-3);
}

TEST(StripInteraction, FarStripsActAsPointCharges) {
    // Small rings a kilometre apart: 1/distance, times the unit charges their first polynomials carry.
    const Strip a = line_strip({0.01, 0}, {0.01, 0.01}, 0);
    const Strip b = line_strip({0.01, 1000}, {0.01, 1000.01}, 0);
    double value = 0;
    add_interaction(a, b, {}, 1e-10, 1.0, &value);
    EXPECT_NEAR(value * 1000, 1, 1e-9);
    double mirrored = 0;
    add_interaction(a, b, {-1, 0}, 1e-10, -1.0, &mirrored);
    EXPECT_NEAR(mirrored * 1000.01, -1, 1e-9);  // middle to middle
}

}  // namespace
}  // namespace coldtune::model
