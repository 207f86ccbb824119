#include "tests/support/true_pair.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>

namespace coldtune::test {

Eigen::MatrixXcd TruePair::nodal(double frequency_hz) const {
    using Complex = std::complex<double>;
    const Complex jw(0, 2 * std::numbers::pi * frequency_hz);
    const Eigen::Index n = coil.inductance_h.rows();
    const Complex loop = tank.resistance_ohm + jw * tank.inductance_h +
                         (tank.capacitance_f ? 1.0 / (jw * *tank.capacitance_f) : Complex(0));
    Eigen::MatrixXcd z = jw * coil.inductance_h.cast<Complex>();
    z.diagonal().array() += coil.resistance_ohm * std::pow(frequency_hz / coil.reference_hz, coil.resistance_exponent);
    z -= (jw * jw / loop) * (mutual_h * mutual_h.transpose()).cast<Complex>();
    const Eigen::MatrixXcd y = z.partialPivLu().inverse();
    Eigen::MatrixXcd nodes = jw * coil.capacitance_f.cast<Complex>();
    nodes.topLeftCorner(n, n) += y;
    nodes.bottomRightCorner(n, n) += y;
    nodes.topRightCorner(n, n) -= y;
    nodes.bottomLeftCorner(n, n) -= y;
    return nodes;
}

std::complex<double> TruePair::foot_admittance(double frequency_hz) const {
    const Eigen::MatrixXcd nodes = nodal(frequency_hz);
    const Eigen::Index n = nodes.rows() - 1;
    const Eigen::VectorXcd others = nodes.bottomRightCorner(n, n).partialPivLu().solve(-nodes.bottomLeftCorner(n, 1));
    return nodes(0, 0) + (nodes.topRightCorner(1, n) * others)(0, 0);
}

Eigen::VectorXd TruePair::first_mode_current() const {
    const Eigen::Index n = coil.inductance_h.rows();
    Eigen::MatrixXd a = Eigen::MatrixXd::Zero(n, n);
    for (Eigen::Index k = 0; k < n; ++k) {
        a(k, k) = 1;
        if (k > 0) a(k - 1, k) = -1;
    }
    const Eigen::MatrixXd inverse = coil.inductance_h.inverse();
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(a * inverse * a.transpose(),
                                                                           coil.capacitance_f.bottomRightCorner(n, n));
    return inverse * (a.transpose() * solver.eigenvectors().col(0));
}

double TruePair::coupling() const {
    const Eigen::VectorXd x = first_mode_current();
    return std::abs(x.dot(mutual_h)) / std::sqrt(x.dot(coil.inductance_h * x) * tank.inductance_h);
}

double TruePair::tank_hz() const {
    return 1 / (2 * std::numbers::pi * std::sqrt(tank.inductance_h * *tank.capacitance_f));
}

}  // namespace coldtune::test
