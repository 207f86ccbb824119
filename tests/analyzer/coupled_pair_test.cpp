// The coupled pair against its matrices solved directly (tests/support/true_pair.hpp), and against the identities that
// any two coupled circuits obey.
#include "analyzer/model/coupled_pair.hpp"

#include <gtest/gtest.h>

#include <Eigen/LU>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/model/primary.hpp"
#include "tests/support/example_pair.hpp"
#include "tests/support/true_pair.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune::model {
namespace {

struct Both {
    std::shared_ptr<const SecondaryModel> secondary;
    Eigen::VectorXd mutual_h;
    TankLoop tank;

    [[nodiscard]] CoupledPair pair(const ModelScale& scale = {}) const { return {secondary, mutual_h, tank, scale}; }
    // With the winding's resistance at one frequency.
    [[nodiscard]] test::TruePair truth(double frequency_hz) const {
        test::TruePair t{test::TrueCoil::from(*secondary), mutual_h, tank};
        t.coil.resistance_ohm = secondary->branch_resistance_ohm(frequency_hz);
        t.coil.resistance_exponent = 0;
        return t;
    }
};

Both example(std::size_t sections = 40) {
    const CoilDescription coil = test::example_pair();
    auto built = SecondaryModel::build(coil, {.sections = sections, .convergence = 1e-3});
    EXPECT_TRUE(built) << built.error().message;
    Both both;
    both.secondary = std::make_shared<const SecondaryModel>(std::move(*built));
    both.mutual_h = primary_section_mutual_h(*coil.primary, 11, coil.secondary, sections);
    both.tank = {57e-6, 0.2, 100e-9};
    return both;
}

TEST(CoupledPair, FootAdmittanceIsThatOfTheMatrices) {
    const Both both = example();
    const CoupledPair pair = both.pair();
    for (const double f : {1e3, 40e3, 61.9e3, 66e3, 70.5e3, 90e3, 250e3}) {
        const auto there = both.truth(f).foot_admittance(f);
        // Condition of the nodal matrices times rounding; the modal sum is not what limits.
        EXPECT_LT(std::abs(pair.foot_admittance(f) - there), 1e-8 * std::abs(there)) << f;
    }
}

TEST(CoupledPair, WithoutMutualInductanceItIsTheSecondaryAlone) {
    Both both = example(20);
    both.mutual_h.setZero();
    for (const double f : {30e3, 66e3, 120e3}) {
        EXPECT_LT(std::abs(both.pair().foot_admittance(f) / both.secondary->foot_admittance(f) - 1.0), 1e-12);
        EXPECT_LT(std::abs(both.pair().head_volts_per_volt(f) / both.secondary->head_volts_per_volt(f) - 1.0), 1e-12);
        EXPECT_LT(std::abs(both.pair().winding_impedance(f) / both.secondary->winding_impedance(f) - 1.0), 1e-12);
    }
    EXPECT_EQ(both.pair().two_modes().coupling, 0);
}

TEST(CoupledPair, ModesAreThePolesOfTheMatrices) {
    // Without loss the foot's susceptance has a pole at each mode: its inverse changes sign there, which bisection on
    // the directly solved matrices finds.
    Both both = example();
    both.tank.resistance_ohm = 0;
    test::TruePair lossless = both.truth(60e3);
    lossless.coil.resistance_ohm = 0;
    const auto modes = both.pair().modes_hz();
    for (std::size_t m = 0; m < 3; ++m) {
        const auto inverse = [&](double f) { return 1 / lossless.foot_admittance(f).imag(); };
        double low = modes[m] * (1 - 1e-5), high = modes[m] * (1 + 1e-5);
        ASSERT_LT(inverse(low) * inverse(high), 0) << m;
        for (int i = 0; i < 40; ++i) {
            const double middle = 0.5 * (low + high);
            (inverse(low) * inverse(middle) > 0 ? low : high) = middle;
        }
        EXPECT_NEAR(modes[m] / low, 1, 1e-9) << m;
    }
}

TEST(CoupledPair, CouplingIsTheMutualEnergyOfTheFirstMode) {
    const Both both = example();
    const test::TruePair truth = both.truth(66e3);
    const TwoModes modes = both.pair().two_modes();
    EXPECT_NEAR(modes.coupling / truth.coupling(), 1, 1e-9);
    EXPECT_NEAR(modes.primary_frequency_hz / truth.tank_hz(), 1, 1e-12);
    EXPECT_NEAR(modes.secondary_frequency_hz / truth.coil.first_mode_hz(), 1, 1e-9);
    EXPECT_NEAR(modes.uniform_coupling,
                both.mutual_h.sum() / std::sqrt(both.secondary->branch_inductance_h().sum() * both.tank.inductance_h),
                1e-12);
    // The oscillating secondary carries most current at its foot, where this primary is.
    EXPECT_GT(modes.coupling, modes.uniform_coupling);
    EXPECT_LT(modes.coupling, 1.3 * modes.uniform_coupling);
}

TEST(CoupledPair, OneSectionIsTheTextbookPair) {
    // One branch between foot and head: two lumped circuits, split 1/f^2 = the eigenvalues of a 2 x 2 matrix.
    const Both both = example(1);
    const TwoModes m = both.pair().two_modes();
    EXPECT_NEAR(m.coupling, m.uniform_coupling, 1e-12);
    EXPECT_TRUE(m.higher.empty());
    const double a = std::pow(m.primary_frequency_hz, -2), b = std::pow(m.secondary_frequency_hz, -2);
    const double root = std::sqrt(std::pow(a - b, 2) + 4 * m.coupling * m.coupling * a * b);
    const auto modes = both.pair().modes_hz();
    EXPECT_NEAR(modes[0] / std::sqrt(2 / (a + b + root)), 1, 1e-10);
    EXPECT_NEAR(modes[1] / std::sqrt(2 / (a + b - root)), 1, 1e-10);
}

TEST(CoupledPair, AShortedPrimaryLowersTheInductanceByKSquared) {
    // Textbook, far below every resonance: the current is uniform and a shorted primary of no resistance leaves
    // L (1 - k^2). 100 Hz is 1/1000 of the tied self-resonance: 1e-6 of own capacitance.
    Both both = example();
    both.tank = {57e-6, 0, std::nullopt};
    const double omega = kTwoPi * 100;
    const double shorted = both.pair().winding_impedance(100).imag() / omega;
    const double open = both.secondary->winding_impedance(100).imag() / omega;
    const double k = both.pair().two_modes().uniform_coupling;
    EXPECT_NEAR(shorted / open, 1 - k * k, 3e-6);
}

TEST(CoupledPair, TankAndFootAreReciprocal) {
    // det of the whole network seen from either side vanishes at the same complex frequencies; on the real axis: with
    // the tank's own impedance Z_a, and the same Z_a seen through the secondary, Y_foot(closed) / Y_foot(open) = (Z_a +
    // w^2 m^T Z^-1 m at zero foot current) / (... at zero foot voltage). The second is what tank_impedance gives; the
    // first is taken from the matrices with the foot's node free.
    const Both both = example();
    for (const double f : {50e3, 63e3, 72e3}) {
        const std::complex<double> jw(0, kTwoPi * f);
        test::TruePair truth = both.truth(f);
        // Impedance the tank's loop sees, foot free or held: -(jw)^2 m^T x with a volt per ampere in each branch.
        const auto reflected = [&](bool foot_free) {
            test::TruePair open = truth;
            open.tank = {1, 1e18, std::nullopt};  // no current in the loop
            const Eigen::MatrixXcd nodes = open.nodal(f);
            const Eigen::Index n = nodes.rows() - 1;
            Eigen::MatrixXcd z = jw * truth.coil.inductance_h.cast<std::complex<double>>();
            z.diagonal().array() += truth.coil.resistance_ohm;
            const Eigen::VectorXcd source = z.partialPivLu().solve(jw * truth.mutual_h.cast<std::complex<double>>());
            Eigen::VectorXcd into = Eigen::VectorXcd::Zero(n + 1);
            into.head(n) += source;
            into.tail(n) -= source;
            Eigen::VectorXcd v = Eigen::VectorXcd::Zero(n + 1);
            if (foot_free) {
                v = nodes.partialPivLu().solve(into);
            } else {
                v.tail(n) = nodes.bottomRightCorner(n, n).partialPivLu().solve(into.tail(n));
            }
            const Eigen::VectorXcd branch = z.partialPivLu().solve(Eigen::VectorXcd(v.head(n) - v.tail(n)) -
                                                                   jw * truth.mutual_h.cast<std::complex<double>>());
            return jw * truth.mutual_h.cast<std::complex<double>>().cwiseProduct(branch).sum();
        };
        const std::complex<double> own = both.tank.resistance_ohm + jw * both.tank.inductance_h;
        const std::complex<double> capacitor = 1.0 / (jw * *both.tank.capacitance_f);
        const auto held = own + reflected(false);
        const auto free = own + reflected(true);
        const auto expected_tank = 1.0 / (1.0 / held + 1.0 / capacitor);
        EXPECT_LT(std::abs(both.pair().tank_impedance(f) / expected_tank - 1.0), 1e-7) << f;
        const auto ratio = both.pair().foot_admittance(f) / both.secondary->foot_admittance(f);
        EXPECT_LT(std::abs(ratio / ((free + capacitor) / (held + capacitor)) - 1.0), 1e-6) << f;
    }
}

TEST(CoupledPair, ScalesKeepTheCoupling) {
    const Both both = example(20);
    const TwoModes as_is = both.pair().two_modes();
    const TwoModes scaled = both.pair({.capacitance = 1.04, .inductance = 0.97, .resistance = 2}).two_modes();
    EXPECT_NEAR(scaled.coupling / as_is.coupling, 1, 1e-12);
    EXPECT_NEAR(scaled.secondary_frequency_hz / as_is.secondary_frequency_hz, 1 / std::sqrt(1.04 * 0.97), 1e-12);
    EXPECT_NEAR(scaled.head_capacitance_f / as_is.head_capacitance_f, 1.04, 1e-12);
}

TEST(CoupledPair, HeadCapacitanceHoldsTheEnergyOfTheMode) {
    // Twice the energy of the first mode, v^T C v, over the head's voltage squared, out of the nodal profile.
    const Both both = example(20);
    const Profile profile = both.secondary->profile(0);
    const Eigen::Map<const Eigen::VectorXd> v(profile.voltage.data(),
                                              static_cast<Eigen::Index>(profile.voltage.size()));
    EXPECT_NEAR(both.pair().two_modes().head_capacitance_f / v.dot(both.secondary->node_capacitance_f() * v), 1, 1e-9);
}

TEST(CoupledPair, DescriptionsWithoutPrimaryOrTankAreRefused) {
    CoilDescription coil = test::example_pair();
    coil.tank.reset();
    const auto refused = make_coupled_pair(coil);
    ASSERT_FALSE(refused);
    EXPECT_NE(refused.error().message.find("tank"), std::string::npos);
    const TankLoop tank = described_tank(test::example_pair());
    // Copper of 8 mm: skin depth 0.26 mm at 66 kHz, so R = rho l / (pi d delta), 2 % for the curvature of the surface
    // (textbook); 14.6 m of it.
    const double length = primary_conductor_length_m(*test::example_pair().primary, 11);
    const double delta = std::sqrt(1.7241e-8 / (std::numbers::pi * 66.6e3 * 4e-7 * std::numbers::pi));
    EXPECT_NEAR(tank.resistance_ohm / (1.7241e-8 * length / (std::numbers::pi * 8e-3 * delta)), 1, 0.06);
    EXPECT_GT(tank.resistance_ohm, 0);
}

}  // namespace
}  // namespace coldtune::model
