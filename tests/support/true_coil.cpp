#include "tests/support/true_coil.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

namespace coldtune::test {

TrueCoil TrueCoil::from(const model::SecondaryModel& model) {
    TrueCoil c;
    c.inductance_h = model.branch_inductance_h();
    c.capacitance_f = model.node_capacitance_f();
    return c;
}

std::complex<double> TrueCoil::foot_admittance(double frequency_hz) const {
    using Complex = std::complex<double>;
    const Complex jw(0, 2 * std::numbers::pi * frequency_hz);
    const Eigen::Index n = inductance_h.rows();
    const double r = resistance_ohm * std::pow(frequency_hz / reference_hz, resistance_exponent);
    Eigen::MatrixXcd z = jw * inductance_h.cast<Complex>();
    z.diagonal().array() += r;
    const Eigen::MatrixXcd y = z.partialPivLu().inverse();
    // Branch k runs from node k to node k + 1.
    Eigen::MatrixXcd nodes = jw * capacitance_f.cast<Complex>();
    for (Eigen::Index i = 0; i < n; ++i) {
        for (Eigen::Index k = 0; k < n; ++k) {
            nodes(i, k) += y(i, k);
            nodes(i + 1, k + 1) += y(i, k);
            nodes(i, k + 1) -= y(i, k);
            nodes(i + 1, k) -= y(i, k);
        }
    }
    for (Eigen::Index i = 0; i < n; ++i) {
        const Complex c = jw * turn_to_turn_f;
        nodes(i, i) += c;
        nodes(i + 1, i + 1) += c;
        nodes(i, i + 1) -= c;
        nodes(i + 1, i) -= c;
    }
    // Foot driven with one volt: the others follow, the current into the foot is the admittance.
    const Eigen::VectorXcd others = nodes.bottomRightCorner(n, n).partialPivLu().solve(-nodes.bottomLeftCorner(n, 1));
    const Complex into = nodes(0, 0) + (nodes.topRightCorner(1, n) * others)(0, 0);
    return 1.0 / (floor_ohm + 1.0 / into) + jw * stray_f;
}

double TrueCoil::first_mode_hz() const {
    const Eigen::Index n = inductance_h.rows();
    Eigen::MatrixXd a = Eigen::MatrixXd::Zero(n, n);  // nodes 1 .. n against branches
    for (Eigen::Index k = 0; k < n; ++k) {
        a(k, k) = 1;
        if (k > 0) a(k - 1, k) = -1;
    }
    Eigen::MatrixXd c = capacitance_f.bottomRightCorner(n, n);
    for (Eigen::Index i = 0; i < n; ++i) {
        c(i, i) += turn_to_turn_f * (i + 1 < n ? 2 : 1);
        if (i > 0) {
            c(i, i - 1) -= turn_to_turn_f;
            c(i - 1, i) -= turn_to_turn_f;
        }
    }
    const Eigen::MatrixXd s = a * inductance_h.inverse() * a.transpose();
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(s, c, Eigen::EigenvaluesOnly);
    return std::sqrt(solver.eigenvalues()(0)) / (2 * std::numbers::pi);
}

}  // namespace coldtune::test
