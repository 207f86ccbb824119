// Secondary and tank as they really are in a test: the matrices solved directly, nothing of the modal sums or of the
// fit used.
#pragma once

#include <Eigen/Core>
#include <complex>

#include "analyzer/model/coupled_pair.hpp"
#include "tests/support/true_coil.hpp"

namespace coldtune::test {

struct TruePair {
    TrueCoil coil;             // resistance_ohm, resistance_exponent, reference_hz: set by the test
    Eigen::VectorXd mutual_h;  // with each branch
    model::TankLoop tank;

    // Branch impedances with the loop eliminated, and the nodal admittances they make; all nodes, foot first.
    [[nodiscard]] Eigen::MatrixXcd nodal(double frequency_hz) const;

    // Tank closed.
    [[nodiscard]] std::complex<double> foot_admittance(double frequency_hz) const;

    // Current along the secondary in its first mode, tank open, foot grounded: in the nodes, whose voltages v obey
    // A L^-1 A^T v = w^2 C v, the branches carry x = L^-1 A^T v / (j w).
    [[nodiscard]] Eigen::VectorXd first_mode_current() const;

    // By its definition: mutual energy over twice the geometric mean of the magnetic energies.
    [[nodiscard]] double coupling() const;

    [[nodiscard]] double tank_hz() const;
};

}  // namespace coldtune::test
