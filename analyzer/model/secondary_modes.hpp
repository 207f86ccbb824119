// Modes of a chain of coupled inductances between nodes with a capacitance matrix, and everything driven at its foot.
//
// Internal to the distributed model; public for its tests. Branch k carries current from node k to node k + 1. With M
// the incidence (free nodes x branches) the currents obey  M^T C^-1 M x = w^2 L x, the same pencil as
// A L^-1 A^T v = w^2 C v  seen from the branches; x^T L x = 1.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <vector>

namespace coldtune::model {

// What the head is connected to.
enum class Head { open, returned };

// Chain driven by a voltage at node 0, written in its modes.
struct ModalCircuit {
    Eigen::VectorXd omega_squared;  // (rad/s)^2, ascending; the first is 0 when the head is returned
    Eigen::MatrixXd current;        // branches x modes
    Eigen::MatrixXd overlap;        // current^T current: how a resistance equal in all branches couples the modes
    Eigen::VectorXd foot;           // current of each mode into the foot, branch and displacement together
    Eigen::VectorXd head;           // charge-to-head-voltage row of each mode: e_head^T C^-1 M x
    double shunt_f = 0;             // capacitance at the foot with every branch open
    double head_ratio = 0;          // head volts per foot volt with every branch open
    double head_elastance = 0;      // e_head^T C^-1 e_head, 1/farad, all branches open
};

// `capacitance_f` has one row more than `inductance_h`. Both symmetric positive definite.
ModalCircuit solve_modes(const Eigen::MatrixXd& inductance_h, const Eigen::MatrixXd& capacitance_f, Head head);

// The same circuit with a capacitance >= 0 added from the (open) head to the return: a rank-one change of the inverse
// eigenvalues (secular equation; eigenvectors by M. Gu and S. C. Eisenstat, SIAM J. Matrix Anal. Appl. 15, 1266 (1994),
// so that they stay orthogonal). O(n^2) for the modes, O(n^3) products for the tables.
ModalCircuit add_head_capacitance(const ModalCircuit& circuit, double added_f);

// Resonances with both ends open (half wave), hertz, ascending, without the zero mode of a floating coil.
std::vector<double> free_resonances_hz(const Eigen::MatrixXd& inductance_h, const Eigen::MatrixXd& capacitance_f);

// What the circuit is scaled by while it is driven.
struct Drive {
    double omega = 0;              // rad/s > 0
    double branch_resistance = 0;  // ohm in series with every branch
    double capacitance = 1;        // factors on the matrices
    double inductance = 1;
};

struct Driven {
    std::complex<double> foot_admittance;
    std::complex<double> head_ratio;  // head volts per foot volt
};

// Amplitude of each mode under a voltage `source` of its own (volt in the scale of `current`), loss included: the
// solution of (r overlap + j reactance) y = source.
Eigen::VectorXcd modal_currents(const ModalCircuit& circuit, const Drive& drive, const Eigen::VectorXd& source);

// Exact for the matrices, loss included: modes coupled by the resistance are iterated to rounding, with a direct solve
// behind it should the resistance be so large that the iteration does not converge.
Driven drive(const ModalCircuit& circuit, const Drive& drive);

// The admittance at the foot and how it goes with the scale of what it is made of: with Z = r overlap + j reactance the
// matrix of the modes and y its solution, dY = -y^T dZ y, because Z is symmetric.
struct FootSlopes {
    std::complex<double> admittance;
    std::complex<double> by_log_inductance;  // dY / d ln(factor)
    std::complex<double> by_log_resistance;
};
FootSlopes foot_slopes(const ModalCircuit& circuit, const Drive& drive);

// Node voltages of a mode with the foot at 0, from the branch voltages: one more than branches. Scale as `current`.
Eigen::VectorXd mode_voltage(const ModalCircuit& circuit, const Eigen::MatrixXd& inductance_h, Eigen::Index mode);

}  // namespace coldtune::model
