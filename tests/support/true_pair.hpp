// Secondary and tank as they really are in a test: the matrices solved directly, nothing of the modal sums or of the
// fit used.
#pragma once

#include <Eigen/Dense>
#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/model/coupled_pair.hpp"
#include "tests/support/true_coil.hpp"

namespace coldtune::test {

struct TruePair {
    TrueCoil coil;             // resistance_ohm, resistance_exponent, reference_hz: set by the test
    Eigen::VectorXd mutual_h;  // with each branch
    model::TankLoop tank;

    // Branch impedances with the loop eliminated, and the nodal admittances they make; all nodes, foot first.
    [[nodiscard]] Eigen::MatrixXcd nodal(double frequency_hz) const {
        using Complex = std::complex<double>;
        const Complex jw(0, 2 * std::numbers::pi * frequency_hz);
        const Eigen::Index n = coil.inductance_h.rows();
        const Complex loop = tank.resistance_ohm + jw * tank.inductance_h +
                             (tank.capacitance_f ? 1.0 / (jw * *tank.capacitance_f) : Complex(0));
        Eigen::MatrixXcd z = jw * coil.inductance_h.cast<Complex>();
        z.diagonal().array() +=
            coil.resistance_ohm * std::pow(frequency_hz / coil.reference_hz, coil.resistance_exponent);
        z -= (jw * jw / loop) * (mutual_h * mutual_h.transpose()).cast<Complex>();
        const Eigen::MatrixXcd y = z.partialPivLu().inverse();
        Eigen::MatrixXcd nodes = jw * coil.capacitance_f.cast<Complex>();
        nodes.topLeftCorner(n, n) += y;
        nodes.bottomRightCorner(n, n) += y;
        nodes.topRightCorner(n, n) -= y;
        nodes.bottomLeftCorner(n, n) -= y;
        return nodes;
    }

    // Tank closed.
    [[nodiscard]] std::complex<double> foot_admittance(double frequency_hz) const {
        const Eigen::MatrixXcd nodes = nodal(frequency_hz);
        const Eigen::Index n = nodes.rows() - 1;
        const Eigen::VectorXcd others =
            nodes.bottomRightCorner(n, n).partialPivLu().solve(-nodes.bottomLeftCorner(n, 1));
        return nodes(0, 0) + (nodes.topRightCorner(1, n) * others)(0, 0);
    }

    // Current along the secondary in its first mode, tank open, foot grounded: in the nodes, whose voltages v obey
    // A L^-1 A^T v = w^2 C v, the branches carry x = L^-1 A^T v / (j w).
    [[nodiscard]] Eigen::VectorXd first_mode_current() const {
        const Eigen::Index n = coil.inductance_h.rows();
        Eigen::MatrixXd a = Eigen::MatrixXd::Zero(n, n);
        for (Eigen::Index k = 0; k < n; ++k) {
            a(k, k) = 1;
            if (k > 0) a(k - 1, k) = -1;
        }
        const Eigen::MatrixXd inverse = coil.inductance_h.inverse();
        const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(
            a * inverse * a.transpose(), coil.capacitance_f.bottomRightCorner(n, n));
        return inverse * (a.transpose() * solver.eigenvectors().col(0));
    }

    // By its definition: mutual energy over twice the geometric mean of the magnetic energies.
    [[nodiscard]] double coupling() const {
        const Eigen::VectorXd x = first_mode_current();
        return std::abs(x.dot(mutual_h)) / std::sqrt(x.dot(coil.inductance_h * x) * tank.inductance_h);
    }

    [[nodiscard]] double tank_hz() const {
        return 1 / (2 * std::numbers::pi * std::sqrt(tank.inductance_h * *tank.capacitance_f));
    }
};

}  // namespace coldtune::test
