// What must hold for every coil, whatever its sizes: signs, symmetries, directions, scaling. A failure names its seed.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <cmath>

#include "analyzer/model/inductance.hpp"
#include "analyzer/model/primary.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/model/tank.hpp"
#include "tests/support/random_coil.hpp"

namespace coldtune::model {
namespace {

using test::RandomCoil;

// Twelve sections keep a coil at some milliseconds; the properties hold for any number of them.
constexpr std::size_t kSections = 12;

SecondaryModel built(const CoilDescription& coil) {
    auto model = SecondaryModel::build(
        coil, {.sections = std::min(kSections, static_cast<std::size_t>(coil.secondary.turns)), .convergence = 1e-3});
    if (!model) throw std::runtime_error(model.error().message);
    return std::move(model).value();
}

double first_mode_hz(const CoilDescription& coil) {
    return built(coil).modes_hz()[0];
}

class AnyCoil : public ::testing::TestWithParam<unsigned> {
protected:
    RandomCoil random{GetParam()};
    const CoilDescription coil = random.coil();
};

std::string told(const CoilDescription& coil) {
    const Winding& w = coil.secondary;
    return fmt::format("diameter {} m, length {} m, turns {}, wire {} m, base {} m, {} top load(s)", w.diameter_m,
                       w.length_m, w.turns, w.wire_diameter_m, w.base_height_m, coil.topload.size());
}

void expect_symmetric_positive_definite(const Eigen::MatrixXd& m, const char* name) {
    ASSERT_TRUE(m.allFinite()) << name;
    // Both are made element by element for one triangle or from symmetric products: rounding of the largest element.
    EXPECT_LE((m - m.transpose()).cwiseAbs().maxCoeff(), 1e-14 * m.cwiseAbs().maxCoeff()) << name;
    EXPECT_EQ(Eigen::LLT<Eigen::MatrixXd>(m).info(), Eigen::Success) << name << " is not positive definite";
}

TEST_P(AnyCoil, HasMatricesOfAPassiveCircuit) {
    SCOPED_TRACE(told(coil));
    const SecondaryModel model = built(coil);
    expect_symmetric_positive_definite(model.branch_inductance_h(), "inductance");
    expect_symmetric_positive_definite(model.node_capacitance_f(), "capacitance");
    double before = 0;
    for (const double mode : model.modes_hz()) {
        EXPECT_TRUE(std::isfinite(mode) && mode > before) << mode;
        before = mode;
    }
    for (int k = 0; k < 20; ++k) {
        const double f = model.modes_hz()[0] * random.around(0.01, 10);
        const auto y = model.foot_admittance(f);
        const auto z = model.winding_impedance(f);
        EXPECT_TRUE(std::isfinite(std::abs(y)) && y.real() >= 0) << f;  // it gives no energy
        EXPECT_TRUE(std::isfinite(std::abs(z)) && z.real() >= 0) << f;
        EXPECT_TRUE(std::isfinite(std::abs(model.head_volts_per_volt(f)))) << f;
    }
}

// The energy argument: what adds capacitance or inductance anywhere lowers every mode (Rayleigh's quotient).
TEST_P(AnyCoil, ResonatesLowerWithMoreOfAnything) {
    SCOPED_TRACE(told(coil));
    const double as_it_is = first_mode_hz(coil);

    CoilDescription finer = coil;
    finer.secondary.turns *= 1.2;
    finer.secondary.wire_diameter_m /= 1.2;
    EXPECT_LT(first_mode_hz(finer), as_it_is) << "more turns";

    EXPECT_LT(built(coil).with_head_capacitance(1e-12).modes_hz()[0], as_it_is) << "a loading capacitor";

    CoilDescription walled = coil;
    walled.surroundings.wall_radius_m = 4 * coil.secondary.diameter_m;
    ASSERT_TRUE(check_geometry(walled).ok());
    EXPECT_LT(first_mode_hz(walled), as_it_is) << "a wall";

    CoilDescription bare = coil;
    bare.topload.clear();
    CoilDescription small = bare, large = bare;
    const double d = coil.secondary.diameter_m;
    small.topload = {Sphere{d, d}};
    large.topload = {Sphere{1.5 * d, d}};
    const double with_small = first_mode_hz(small);
    EXPECT_LT(with_small, first_mode_hz(bare)) << "a top load";
    EXPECT_LT(first_mode_hz(large), with_small) << "a bigger top load";
}

// Neither Maxwell's equations nor the lossless model know a unit of length.
TEST_P(AnyCoil, ScalesWithItsSize) {
    SCOPED_TRACE(told(coil));
    for (const double s : {0.5, 1.7}) {
        const CoilDescription other = test::scaled(coil, s);
        if (!check_geometry(other).ok()) continue;  // thinner than any wire
        // The integrals are held to 1e-7 each, and their subdivision may fall out differently.
        EXPECT_NEAR(first_mode_hz(other) * s / first_mode_hz(coil), 1, 1e-6) << s;
        EXPECT_NEAR(winding_inductance_h(other.secondary) / s / winding_inductance_h(coil.secondary), 1, 1e-12) << s;
    }
}

INSTANTIATE_TEST_SUITE_P(Seeds, AnyCoil, ::testing::Range(1U, 21U),
                         [](const auto& seed) { return "seed" + std::to_string(seed.param); });

class AnyPrimary : public ::testing::TestWithParam<unsigned> {};

TEST_P(AnyPrimary, GrowsWithItsTapAndCouplesBelowOne) {
    RandomCoil random(GetParam());
    const CoilDescription coil = random.coil();
    const Winding& w = coil.secondary;
    Primary p;
    p.conductor_diameter_m = random.around(3e-3, 15e-3);
    p.pitch_m = p.conductor_diameter_m * random.between(1.3, 3);
    p.turns = random.between(2, 15);
    p.inner_diameter_m = w.diameter_m * random.between(1.2, 2) + 2 * p.conductor_diameter_m;
    p.angle_deg = random.between(0, 90);
    p.base_height_m = w.base_height_m * random.between(0.5, 1.2);
    double before = 0;
    for (double tap = 0.25; tap <= p.turns; tap += 0.25) {
        const double inductance = primary_inductance_h(p, tap);
        EXPECT_GT(inductance, before) << tap;
        before = inductance;
        const double k = primary_coupling(p, tap, w);
        EXPECT_TRUE(k > 0 && k < 1) << "coupling " << k << " at " << tap;
    }
    Tank tank{random.around(1e-9, 1e-6), random.between(1, p.turns), random.between(0, 2e-6)};
    const double f = tank_frequency_hz(p, tank);
    const auto tap = tap_for_frequency(p, tank, f);
    ASSERT_TRUE(tap.ok()) << tap.error().message;
    EXPECT_NEAR(*tap, *tank.tap_turns, 1e-6);  // the root is sought to far less than a clip can be placed
    EXPECT_NEAR(capacitance_for_frequency_f(p, tank, f) / tank.capacitance_f, 1, 1e-12);
}

TEST_P(AnyPrimary, RingsActOnEachOtherAlike) {
    RandomCoil random(GetParam());
    for (int k = 0; k < 50; ++k) {
        const double a = random.around(1e-3, 10), b = random.around(1e-3, 10), z = random.around(1e-6, 10);
        const double m = coaxial_rings_mutual_h(a, b, z);
        EXPECT_TRUE(std::isfinite(m) && m > 0) << a << ' ' << b << ' ' << z;
        // Reciprocity and mirror; the formula treats the two radii alike up to rounding of a few sums.
        EXPECT_NEAR(coaxial_rings_mutual_h(b, a, z) / m, 1, 1e-13);
        EXPECT_EQ(coaxial_rings_mutual_h(a, b, -z), m);
        EXPECT_LT(coaxial_rings_mutual_h(a, b, 2 * z), m);
    }
}

INSTANTIATE_TEST_SUITE_P(Seeds, AnyPrimary, ::testing::Range(101U, 121U),
                         [](const auto& seed) { return "seed" + std::to_string(seed.param); });

}  // namespace
}  // namespace coldtune::model
