// The distributed model: its driven quantities against a direct solve of the same circuit, and the limits it must obey.
#include "analyzer/model/secondary.hpp"

#include <gtest/gtest.h>

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <cmath>
#include <complex>
#include <numbers>
#include <random>

#include "analyzer/model/capacitance.hpp"
#include "analyzer/model/coil_conductors.hpp"
#include "analyzer/model/inductance.hpp"
#include "analyzer/model/rank_one_update.hpp"
#include "analyzer/model/secondary_modes.hpp"
#include "tests/support/example_coil.hpp"

namespace coldtune::model {
namespace {

using Complex = std::complex<double>;
using Eigen::Index;
using std::numbers::pi;

CoilDescription bare_coil() {
    return test::example_coil();
}

CoilDescription coil_with_toroid() {
    CoilDescription coil = bare_coil();
    coil.topload = {Toroid{0.4, 0.1, 0.08}};
    return coil;
}

SecondaryModel build(const CoilDescription& coil, std::size_t sections) {
    auto model = SecondaryModel::build(coil, {.sections = sections, .convergence = 1e-3});
    if (!model) throw std::runtime_error(model.error().message);
    return std::move(model).value();
}

// The circuit as branch and node equations together, solved in long double: at low frequency the inductances are close
// to a short circuit, and the node equations alone would leave few digits in the loss.
//   (R + jwL) i - (voltage across) = 0,  (current into a node) - jwC v = 0,  foot at one volt.
struct Direct {
    Complex foot_admittance;
    Complex head;
};
Direct direct_solve(const SecondaryModel& model, double frequency_hz, const ModelScale& scale, bool head_returned) {
    using Long = std::complex<long double>;
    using Matrix = Eigen::Matrix<Long, Eigen::Dynamic, Eigen::Dynamic>;
    const auto n = static_cast<Index>(model.sections());
    const Index nodes = head_returned ? n - 1 : n;  // free ones, 1..nodes
    const long double omega = 2 * std::numbers::pi_v<long double> * static_cast<long double>(frequency_hz);
    const Long jwl(0, omega * static_cast<long double>(scale.inductance));
    const Long jwc(0, omega * static_cast<long double>(scale.capacitance));
    const Matrix l = model.branch_inductance_h().cast<Long>();
    const Matrix c = model.node_capacitance_f().cast<Long>();
    const auto r = static_cast<long double>(scale.resistance * model.branch_resistance_ohm(frequency_hz));

    Matrix a = Matrix::Zero(n + nodes, n + nodes);
    Matrix right = Matrix::Zero(n + nodes, 1);
    a.topLeftCorner(n, n) = jwl * l;
    for (Index k = 0; k < n; ++k) {  // branch k from node k to node k + 1
        a(k, k) += r;
        if (k == 0) right(0, 0) = 1;
        if (k > 0) a(k, n + k - 1) = -1;
        if (k < nodes) a(k, n + k) = 1;
    }
    for (Index node = 1; node <= nodes; ++node) {
        a(n + node - 1, node - 1) = 1;
        if (node < n) a(n + node - 1, node) = -1;
        a.block(n + node - 1, n, 1, nodes) = -jwc * c.block(node, 1, 1, nodes);
        right(n + node - 1, 0) = jwc * c(node, 0);
    }
    // Currents are nanoamperes against volts, rows of charge picofarads against ohms: brought to one size before
    // pivoting.
    const long double ampere = std::abs(jwc) * c.sum().real();
    a.leftCols(n) *= ampere;
    for (Index row = 0; row < n + nodes; ++row) {
        const long double size = a.row(row).cwiseAbs().maxCoeff();
        a.row(row) /= size;
        right.row(row) /= size;
    }
    const Matrix x = a.fullPivLu().solve(right);
    Long foot = ampere * x(0, 0) + jwc * c(0, 0);
    for (Index node = 1; node <= nodes; ++node) foot += jwc * c(0, node) * x(n + node - 1, 0);
    return {Complex(foot), head_returned ? Complex(0) : Complex(x(n + n - 1, 0))};
}

double relative(Complex a, Complex b) {
    return std::abs(a - b) / std::abs(b);
}

TEST(SecondaryModel, DrivenQuantitiesAreThoseOfADirectSolve) {
    for (const bool topload : {false, true}) {
        const SecondaryModel model = build(topload ? coil_with_toroid() : bare_coil(), 20);
        const double first = model.modes_hz()[0];
        for (const ModelScale& scale : {ModelScale{}, ModelScale{1.07, 0.95, 3.0}, ModelScale{1, 1, 50}}) {
            const double pulled = first / std::sqrt(scale.capacitance * scale.inductance);
            for (const double frequency : {100.0, 5e3, 0.5 * first, 0.999 * pulled, pulled, 1.002 * pulled,
                                           1.02 * model.modes_hz()[1], model.modes_hz()[3]}) {
                const Direct expected = direct_solve(model, frequency, scale, false);
                // Both are solutions of one linear system; the condition of a circuit at resonance costs some of the
                // sixteen digits.
                EXPECT_LT(relative(model.foot_admittance(frequency, scale), expected.foot_admittance), 1e-8)
                    << frequency << ' ' << scale.resistance;
                EXPECT_LT(relative(model.head_volts_per_volt(frequency, scale), expected.head), 1e-8)
                    << frequency << ' ' << scale.resistance;
                const Direct returned = direct_solve(model, frequency, scale, true);
                EXPECT_LT(relative(1.0 / model.winding_impedance(frequency, scale), returned.foot_admittance), 1e-6)
                    << frequency << ' ' << scale.resistance;
                // Real part apart: it is the loss, and at low frequency a small part of the whole.
                EXPECT_NEAR(model.foot_admittance(frequency, scale).real() / expected.foot_admittance.real(), 1, 1e-5)
                    << frequency << ' ' << scale.resistance;
            }
        }
    }
}

// Central differences of the driven admittance, which the test above holds against a direct solve: step 1e-4, so that
// curvature and rounding each leave less than 1e-6 of the slope away from the resonance's own width.
TEST(SecondaryModel, SlopesOfTheFootAdmittanceAreItsDifferences) {
    const SecondaryModel model = build(coil_with_toroid(), 24);
    constexpr double step = 1e-4;
    for (const double relative : {0.1, 0.5, 0.9, 1.1, 2.5}) {
        for (const double loss : {0.0, 1.0, 20.0}) {
            const double f = relative * model.modes_hz()[0];
            const ModelScale scale{1.1, 0.9, loss};
            const FootSlopes slopes = model.foot_slopes(f, scale);
            EXPECT_EQ(slopes.admittance, model.foot_admittance(f, scale));
            const auto moved = [&](double inductance, double resistance) {
                return model.foot_admittance(f, {1.1, 0.9 * std::exp(inductance), loss * std::exp(resistance)});
            };
            const Complex inductance = (moved(step, 0) - moved(-step, 0)) / (2 * step);
            const Complex resistance = (moved(0, step) - moved(0, -step)) / (2 * step);
            EXPECT_LT(std::abs(slopes.by_log_inductance - inductance), 1e-6 * std::abs(inductance)) << f << ' ' << loss;
            if (loss == 0) {
                EXPECT_EQ(slopes.by_log_resistance, Complex(0));
            } else {
                EXPECT_LT(std::abs(slopes.by_log_resistance - resistance), 1e-6 * std::abs(resistance)) << f;
            }
        }
    }
}

TEST(SecondaryModel, EnormousLossFallsBackToTheDirectSolve) {
    // So much resistance that the modes are no longer nearly independent.
    const SecondaryModel model = build(coil_with_toroid(), 16);
    for (const double resistance : {300.0, 3e4, 3e6}) {
        const ModelScale scale{1, 1, resistance};
        const double frequency = model.modes_hz()[0];
        const Direct expected = direct_solve(model, frequency, scale, false);
        EXPECT_LT(relative(model.foot_admittance(frequency, scale), expected.foot_admittance), 1e-8) << resistance;
    }
}

TEST(SecondaryModel, ModesSolveTheGeneralisedEigenproblem) {
    // A L^-1 A^T v = w^2 C v, here by Eigen's generalised solver on the nodes.
    const SecondaryModel model = build(coil_with_toroid(), 24);
    const Index n = 24;
    Eigen::MatrixXd a = Eigen::MatrixXd::Identity(n, n);
    for (Index k = 0; k + 1 < n; ++k) a(k, k + 1) = -1;
    const Eigen::MatrixXd stiffness = a * model.branch_inductance_h().llt().solve(a.transpose());
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(
        stiffness, model.node_capacitance_f().block(1, 1, n, n));
    for (Index k = 0; k < n; ++k) {
        EXPECT_NEAR(model.modes_hz()[static_cast<std::size_t>(k)] / (std::sqrt(solver.eigenvalues()(k)) / (2 * pi)), 1,
                    1e-9);
    }
}

TEST(SecondaryModel, ModeEnergiesAreEqual) {
    // At resonance the electric energy of a mode is its magnetic energy; with the profile's scales (1 at the head, 1 at
    // the foot) this ties the equivalent L and C to the matrices.
    const SecondaryModel model = build(coil_with_toroid(), 30);
    for (std::size_t mode = 0; mode < 3; ++mode) {
        const Profile profile = model.profile(mode);
        const ModeEquivalent equivalent = model.equivalent(mode);
        const double omega = 2 * pi * equivalent.frequency_hz;
        EXPECT_NEAR(omega * omega * equivalent.inductance_h * equivalent.capacitance_f, 1, 1e-10);
        const Eigen::Map<const Eigen::VectorXd> v(profile.voltage.data(), 31);
        EXPECT_EQ(v(0), 0);
        EXPECT_DOUBLE_EQ(v(30), 1);
        EXPECT_DOUBLE_EQ(profile.current.front(), 1);
        // Electric energy with the head at V: v^T C v V^2; magnetic with the foot at I: L I^2. Charge conservation
        // gives I/V: all charge came through the foot.
        const Eigen::VectorXd charge = model.node_capacitance_f() * v;
        const double foot_per_head_volt = omega * charge.sum();
        EXPECT_NEAR(v.dot(charge) / (equivalent.inductance_h * foot_per_head_volt * foot_per_head_volt), 1, 1e-8)
            << mode;
    }
}

TEST(SecondaryModel, ProfileOfABareCoilEndsWithoutCurrent) {
    const SecondaryModel bare = build(bare_coil(), 24);
    const Profile profile = bare.profile(0);
    ASSERT_EQ(profile.position.size(), 25U);
    EXPECT_EQ(profile.position.back(), 1);
    EXPECT_EQ(profile.current.back(), 0);
    for (std::size_t k = 1; k < profile.voltage.size(); ++k) EXPECT_GT(profile.voltage[k], profile.voltage[k - 1]);
    // A top load keeps current flowing to the end of the winding; one that holds most of the charge, most of it.
    const Profile loaded = build(coil_with_toroid(), 24).profile(0);
    EXPECT_GT(loaded.current.back(), 0.3);
    EXPECT_LT(loaded.current.back(), 1);
    // The added capacitor's current is part of it.
    EXPECT_GT(build(bare_coil(), 24).with_head_capacitance(20e-12).profile(0).current.back(), 0.5);
}

TEST(SecondaryModel, FootAdmittanceNearResonanceIsTheEquivalentCircuit) {
    const SecondaryModel model = build(coil_with_toroid(), 24);
    const ModeEquivalent first = model.equivalent(0);
    const Complex y = model.foot_admittance(first.frequency_hz);
    // The other modes add a susceptance of about a Q-th of this one's conductance.
    EXPECT_NEAR(1.0 / y.real() / first.resistance_ohm, 1, 5 / first.q);
    EXPECT_NEAR(
        std::abs(model.head_volts_per_volt(first.frequency_hz)) /
            (1 / (2 * pi * first.frequency_hz * first.resistance_ohm) /
             (model.node_capacitance_f() * Eigen::Map<const Eigen::VectorXd>(model.profile(0).voltage.data(), 25))
                 .sum()),
        1, 5 / first.q);
    // Far below resonance the foot sees the capacitance of the whole coil and top load at one potential.
    const double low = 100;
    EXPECT_NEAR(model.foot_admittance(low).imag() / (2 * pi * low) / model.node_capacitance_f().sum(), 1, 1e-5);
}

TEST(SecondaryModel, WindingImpedanceAtLowFrequencyIsRAndL) {
    const SecondaryModel model = build(coil_with_toroid(), 24);
    const double low = 50;
    const Complex z = model.winding_impedance(low);
    EXPECT_NEAR(z.real() / (24 * model.branch_resistance_ohm(low)), 1, 1e-6);
    EXPECT_NEAR(z.imag() / (2 * pi * low) / winding_inductance_h(coil_with_toroid().secondary), 1, 1e-6);
}

TEST(SecondaryModel, HeadCapacitanceIsAResolve) {
    const SecondaryModel bare = build(coil_with_toroid(), 24);
    for (const double added : {0.0, 1e-15, 1e-12, 20e-12, 1e-9, 1e-6}) {
        const SecondaryModel quick = bare.with_head_capacitance(added);
        Eigen::MatrixXd c = bare.node_capacitance_f();
        c(24, 24) += added;
        EXPECT_EQ((quick.node_capacitance_f() - c).norm(), 0);
        const ModalCircuit full = solve_modes(bare.branch_inductance_h(), c, Head::open);
        for (Index k = 0; k < 24; ++k) {
            // Rounding of either way; the lowest mode of a microfarad lies 1e4 below the others.
            EXPECT_NEAR(quick.modes_hz()[static_cast<std::size_t>(k)] * 2 * pi / std::sqrt(full.omega_squared(k)), 1,
                        k == 0 ? 1e-7 : 1e-9)
                << added << ' ' << k;
        }
        for (const double frequency : {1e3, 60e3, 0.9999 * quick.modes_hz()[0], 400e3, 1.5e6}) {
            const Direct expected = direct_solve(quick, frequency, {}, false);
            EXPECT_LT(relative(quick.foot_admittance(frequency), expected.foot_admittance), 1e-7)
                << added << ' ' << frequency;
            EXPECT_LT(relative(quick.head_volts_per_volt(frequency), expected.head), 1e-7) << added << ' ' << frequency;
        }
        // Twice half is the whole.
        const SecondaryModel twice = bare.with_head_capacitance(added / 2).with_head_capacitance(added / 2);
        EXPECT_NEAR(twice.modes_hz()[0] / quick.modes_hz()[0], 1, 1e-9) << added;
        EXPECT_LT(relative(twice.foot_admittance(60e3), quick.foot_admittance(60e3)), 1e-8) << added;
    }
}

TEST(RankOneUpdate, AgreesWithADenseSolver) {
    std::mt19937 random(7);
    std::normal_distribution<> normal;
    for (int trial = 0; trial < 20; ++trial) {
        const Index n = 1 + trial;
        Eigen::VectorXd d(n);
        Eigen::VectorXd q(n);
        double last = 0;
        for (Index i = 0; i < n; ++i) {
            last += std::exp(3 * normal(random));
            d(i) = last;
            q(i) = trial % 4 == 3 && i == n / 2 ? 0 : normal(random);
        }
        const double rho = std::exp(2 * normal(random));
        const RankOneUpdate update = update_diagonal(d, q, rho);
        const Eigen::MatrixXd full = Eigen::MatrixXd(d.asDiagonal()) + rho * q * q.transpose();
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> solver(full);
        const double scale = solver.eigenvalues()(n - 1);
        EXPECT_LT((update.values - solver.eigenvalues()).cwiseAbs().maxCoeff(), 1e-13 * scale) << trial;
        EXPECT_LT((update.vectors.transpose() * update.vectors - Eigen::MatrixXd::Identity(n, n)).norm(), 1e-12)
            << trial;
        EXPECT_LT((full * update.vectors - update.vectors * update.values.asDiagonal()).norm(), 1e-12 * scale) << trial;
    }
}

TEST(SecondaryModel, SmallestTopLoadEqualsBare) {
    const double bare = build(bare_coil(), 20).modes_hz()[0];
    // Below what a description may hold: a micrometre, against 0.1 pF per millimetre and 8 pF of coil.
    for (const TopLoadBody& body :
         {TopLoadBody{Sphere{1e-6, 0.01}}, TopLoadBody{Toroid{1e-6, 2e-7, 0.01}}, TopLoadBody{Disc{1e-6, 0.01}}}) {
        CoilDescription coil = bare_coil();
        coil.topload = {body};
        const ModalCircuit circuit = solve_modes(section_inductance_h(coil.secondary, 20),
                                                 solve_maxwell(coil_conductors(coil, 20)).capacitance_f, Head::open);
        EXPECT_NEAR(std::sqrt(circuit.omega_squared(0)) / (2 * pi) / bare, 1, 1e-6) << body.index();
    }
    EXPECT_NEAR(build(bare_coil(), 20).with_head_capacitance(1e-20).modes_hz()[0] / bare, 1, 1e-8);
}

TEST(SecondaryModel, HugeHeadCapacitanceTendsToTheLumpedFormula) {
    // The current becomes uniform: 1/(2 pi sqrt(L (C + C_own))) with the low-frequency inductance; the coil's own share
    // C_own, a third of its capacitance and the shielded toroid, fades.
    const SecondaryModel model = build(coil_with_toroid(), 20);
    const double l = winding_inductance_h(coil_with_toroid().secondary);
    double last = 1;
    for (const double added : {1e-10, 1e-9, 1e-8, 1e-7}) {
        const double lumped = 1 / (2 * pi * std::sqrt(l * added));
        const double off = std::abs(model.with_head_capacitance(added).modes_hz()[0] / lumped - 1);
        EXPECT_LT(off, 0.2 * last) << added;
        last = off;
    }
    EXPECT_LT(last, 2e-4);  // about 20 pF of own capacitance in 100 nF, halved
    // The same with a body: a sphere of 20 m far above, whose own capacitance dwarfs the coil's.
    CoilDescription coil = bare_coil();
    coil.topload = {Sphere{20, 100}};
    coil.surroundings.ground = false;
    const SecondaryModel huge = build(coil, 20);
    const double body = 2 * pi * 8.8541878128e-12 * 20;
    EXPECT_NEAR(huge.modes_hz()[0] * 2 * pi * std::sqrt(l * body), 1, 0.01);
}

TEST(SecondaryModel, FrequencyFallsAsTheTopLoadGrows) {
    double last = build(bare_coil(), 16).modes_hz()[0];
    for (const double size : {0.12, 0.2, 0.3, 0.5, 0.8, 1.2}) {
        CoilDescription coil = bare_coil();
        coil.topload = {Toroid{size, 0.25 * size, 0.15 * size}};
        const double now = build(coil, 16).modes_hz()[0];
        EXPECT_LT(now, last) << size;
        last = now;
    }
}

TEST(SecondaryModel, FrequencyFallsAsTheFootNearsTheGround) {
    double last = 1e9;
    for (const double height : {2.0, 1.0, 0.5, 0.25, 0.1, 0.05, 0.01, 0.001}) {
        CoilDescription coil = bare_coil();
        coil.secondary.base_height_m = height;
        const double now = build(coil, 16).modes_hz()[0];
        EXPECT_LT(now, last) << height;
        last = now;
    }
    // And lies below that of the coil in free space, which is the limit far up.
    CoilDescription coil = bare_coil();
    coil.surroundings.ground = false;
    const double free = build(coil, 16).modes_hz()[0];
    EXPECT_LT(last, free);
    coil.surroundings.ground = true;
    coil.secondary.base_height_m = 100;
    EXPECT_NEAR(build(coil, 16).modes_hz()[0] / free, 1, 1e-3);
}

TEST(SecondaryModel, DoublingTheSectionsMovesItLessThanATenthPercent) {
    CoilDescription squat = bare_coil();
    squat.secondary.diameter_m = 0.4;
    squat.secondary.length_m = 0.3;
    squat.secondary.wire_diameter_m = 0.25e-3;
    squat.secondary.base_height_m = 0.05;
    CoilDescription tall = bare_coil();
    tall.secondary.length_m = 1.5;
    for (const CoilDescription& coil : {bare_coil(), coil_with_toroid(), squat, tall}) {
        const auto chosen = SecondaryModel::build(coil);
        ASSERT_TRUE(chosen);
        EXPECT_GE(chosen->sections(), 12U);
        const double doubled = build(coil, 2 * chosen->sections()).modes_hz()[0];
        EXPECT_NEAR(doubled / chosen->modes_hz()[0], 1, 1e-3);
        // A tighter demand is met by more sections.
        const auto finer = SecondaryModel::build(coil, {.sections = {}, .convergence = 1e-4});
        ASSERT_TRUE(finer);
        EXPECT_GT(finer->sections(), chosen->sections());
        EXPECT_NEAR(build(coil, 2 * finer->sections()).modes_hz()[0] / finer->modes_hz()[0], 1, 1e-4);
    }
}

TEST(SecondaryModel, FewTurnsStillGiveAModel) {
    // A section holds a turn at least.
    for (const double turns : {1.0, 1.5, 2.0, 3.7, 12.0}) {
        CoilDescription coil = bare_coil();
        coil.secondary.turns = turns;
        coil.secondary.length_m = std::min(coil.secondary.length_m, 0.9 * turns * coil.secondary.diameter_m);
        const auto model = SecondaryModel::build(coil);
        ASSERT_TRUE(model) << model.error().message;
        EXPECT_LE(static_cast<double>(model->sections()), turns);
        EXPECT_GT(model->modes_hz()[0], 0) << turns;
        EXPECT_TRUE(std::isfinite(std::abs(model->foot_admittance(1e6)))) << turns;
        EXPECT_TRUE(std::isfinite(std::abs(model->winding_impedance(1e6)))) << turns;
        EXPECT_GT(model->with_head_capacitance(1e-11).modes_hz()[0], 0) << turns;
        EXPECT_LT(model->with_head_capacitance(1e-11).modes_hz()[0], model->modes_hz()[0]) << turns;
    }
}

TEST(SecondaryModel, RefusesWhatCannotBeBuilt) {
    CoilDescription coil = bare_coil();
    coil.secondary.wire_diameter_m = 0.6e-3;  // pitch 0.5 mm
    const auto model = SecondaryModel::build(coil);
    ASSERT_FALSE(model);
    EXPECT_EQ(model.error().kind, ErrorKind::bad_input);
    EXPECT_NE(model.error().message.find("wire"), std::string::npos) << model.error().message;
}

}  // namespace
}  // namespace coldtune::model
