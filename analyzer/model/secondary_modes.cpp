#include "analyzer/model/secondary_modes.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <Eigen/LU>
#include <cassert>
#include <cmath>
#include <numbers>

#include "analyzer/model/rank_one_update.hpp"

namespace coldtune::model {
namespace {

using Eigen::Index;
using Eigen::MatrixXd;
using Eigen::VectorXd;

// Charge on the free nodes first..first + count - 1 per ampere-second in the branches.
MatrixXd incidence(Index branches, Index first, Index count) {
    MatrixXd m = MatrixXd::Zero(count, branches);
    for (Index row = 0; row < count; ++row) {
        const Index node = first + row;
        if (node >= 1) m(row, node - 1) = 1.0;
        if (node < branches) m(row, node) = -1.0;
    }
    return m;
}

struct Eigensystem {
    VectorXd omega_squared;
    MatrixXd current;
};

// Z = chol(C)^-1 M chol(L)^-T; its Gram matrix has the eigenvalues w^2 and is symmetric by construction.
Eigensystem eigensystem(const Eigen::LLT<MatrixXd>& capacitance, const MatrixXd& m, const MatrixXd& inductance_h) {
    const Eigen::LLT<MatrixXd> inductance(inductance_h);
    assert(inductance.info() == Eigen::Success && capacitance.info() == Eigen::Success);
    MatrixXd z = m;
    capacitance.matrixL().solveInPlace(z);
    MatrixXd zt = z.transpose();
    inductance.matrixL().solveInPlace(zt);
    MatrixXd gram(zt.rows(), zt.rows());
    gram.setZero();
    gram.selfadjointView<Eigen::Lower>().rankUpdate(zt);
    const Eigen::SelfAdjointEigenSolver<MatrixXd> solver(gram);
    MatrixXd current = solver.eigenvectors();
    inductance.matrixU().solveInPlace(current);
    return {solver.eigenvalues(), std::move(current)};
}

}  // namespace

ModalCircuit solve_modes(const MatrixXd& inductance_h, const MatrixXd& capacitance_f, Head head) {
    const Index branches = inductance_h.rows();
    assert(capacitance_f.rows() == branches + 1);
    const Index free = head == Head::open ? branches : branches - 1;
    ModalCircuit circuit;
    if (free == 0) {  // one section between two held ends: nothing but its inductance
        circuit.omega_squared = VectorXd::Zero(1);
        circuit.current = MatrixXd::Constant(1, 1, 1.0 / std::sqrt(inductance_h(0, 0)));
        circuit.overlap = circuit.current * circuit.current;
        circuit.foot = circuit.current.row(0);
        circuit.head = VectorXd::Zero(1);
        circuit.shunt_f = capacitance_f(0, 0);
        return circuit;
    }
    const MatrixXd m = incidence(branches, 1, free);
    const Eigen::LLT<MatrixXd> capacitance(MatrixXd(capacitance_f.block(1, 1, free, free)));
    Eigensystem system = eigensystem(capacitance, m, inductance_h);
    circuit.omega_squared = std::move(system.omega_squared);
    circuit.current = std::move(system.current);
    // A uniform current charges no node: exactly zero, where rounding leaves something of either sign.
    if (head == Head::returned) circuit.omega_squared(0) = 0.0;
    circuit.overlap.noalias() = circuit.current.transpose() * circuit.current;

    const VectorXd coupling = capacitance_f.block(1, 0, free, 1);
    const VectorXd floating = capacitance.solve(coupling);
    VectorXd drive_row = m.transpose() * floating;
    drive_row(0) += 1.0;
    circuit.foot = circuit.current.transpose() * drive_row;
    circuit.shunt_f = capacitance_f(0, 0) - coupling.dot(floating);
    circuit.head = VectorXd::Zero(branches);
    if (head == Head::open) {
        const VectorXd from_head = capacitance.solve(VectorXd::Unit(free, free - 1));
        circuit.head = circuit.current.transpose() * (m.transpose() * from_head);
        circuit.head_ratio = -floating(free - 1);
        circuit.head_elastance = from_head(free - 1);
    }
    return circuit;
}

ModalCircuit add_head_capacitance(const ModalCircuit& circuit, double added_f) {
    assert(added_f >= 0);
    // In the modes the inverse pencil is diag(1/w^2) + c q q^T with q = head / w^2. Reversed: ascending 1/w^2.
    const VectorXd inverse = circuit.omega_squared.cwiseInverse().reverse();
    const VectorXd q = circuit.head.cwiseQuotient(circuit.omega_squared).reverse();
    const RankOneUpdate update = update_diagonal(inverse, q, added_f);
    // Columns by descending 1/w^2, rows in the order of the old modes.
    const MatrixXd turn = update.vectors.reverse();

    ModalCircuit result;
    result.omega_squared = update.values.reverse().cwiseInverse();
    result.current.noalias() = circuit.current * turn;
    const MatrixXd half = circuit.overlap * turn;
    result.overlap.noalias() = turn.transpose() * half;
    // Sherman-Morrison on C + c e e^T.
    const double shared = 1.0 / (1.0 + added_f * circuit.head_elastance);
    result.foot = turn.transpose() * (circuit.foot + added_f * shared * circuit.head_ratio * circuit.head);
    result.head = shared * (turn.transpose() * circuit.head);
    result.shunt_f = circuit.shunt_f + added_f * shared * circuit.head_ratio * circuit.head_ratio;
    result.head_ratio = shared * circuit.head_ratio;
    result.head_elastance = shared * circuit.head_elastance;
    return result;
}

std::vector<double> free_resonances_hz(const MatrixXd& inductance_h, const MatrixXd& capacitance_f) {
    const Index branches = inductance_h.rows();
    const Eigen::LLT<MatrixXd> capacitance(capacitance_f);
    const Eigensystem system = eigensystem(capacitance, incidence(branches, 0, branches + 1), inductance_h);
    std::vector<double> resonances;
    for (const double omega_squared : system.omega_squared) {
        resonances.push_back(std::sqrt(omega_squared) / (2.0 * std::numbers::pi));
    }
    return resonances;
}

Eigen::VectorXcd modal_currents(const ModalCircuit& circuit, const Drive& drive, const VectorXd& source) {
    using Complex = std::complex<double>;
    const Index modes = circuit.omega_squared.size();
    const double r = drive.branch_resistance;
    const auto reactance = [&](Index k) {
        return drive.omega * drive.inductance - circuit.omega_squared(k) / (drive.omega * drive.capacitance);
    };
    if (r == 0.0) {  // each mode for itself
        Eigen::VectorXcd y(modes);
        for (Index k = 0; k < modes; ++k) y(k) = Complex(0.0, -source(k) / reactance(k));
        return y;
    }
    // (r overlap + j reactance) y = source, off-diagonal loss iterated: it couples two modes by r against the reactance
    // of at least one of them, so each round gains about a Q. Real and imaginary parts are two columns: real products.
    Eigen::VectorXcd inverse(modes);
    for (Index k = 0; k < modes; ++k) {  // without the library's search for infinities: r overlap > 0
        const Complex own(r * circuit.overlap(k, k), reactance(k));
        inverse(k) = std::conj(own) / std::norm(own);
    }
    Eigen::VectorXcd y = inverse.cwiseProduct(source);
    Eigen::Matrix<double, Eigen::Dynamic, 2> parts(modes, 2);
    Eigen::Matrix<double, Eigen::Dynamic, 2> image(modes, 2);
    bool settled = false;
    for (int round = 0; round < 60 && !settled; ++round) {
        parts.col(0) = y.real();
        parts.col(1) = y.imag();
        // One column at a time: for two, the product of matrices spends as long on packing as on multiplying.
        image.col(0).noalias() = circuit.overlap * parts.col(0);
        image.col(1).noalias() = circuit.overlap * parts.col(1);
        double change = 0;
        double size = 0;
        for (Index k = 0; k < modes; ++k) {
            const double own = circuit.overlap(k, k);
            const Complex others(image(k, 0) - own * parts(k, 0), image(k, 1) - own * parts(k, 1));
            const Complex next = inverse(k) * (source(k) - r * others);
            change += std::norm(next - y(k));
            size += std::norm(next);
            y(k) = next;
        }
        if (!std::isfinite(change)) break;
        settled = change <= 1e-26 * size;
    }
    if (!settled) {
        Eigen::MatrixXcd full = (r * circuit.overlap).cast<Complex>();
        for (Index k = 0; k < modes; ++k) full(k, k) += Complex(0.0, reactance(k));
        y = full.partialPivLu().solve(source.cast<Complex>());
    }
    return y;
}

Driven drive(const ModalCircuit& circuit, const Drive& drive) {
    using Complex = std::complex<double>;
    const Eigen::VectorXcd y = modal_currents(circuit, drive, circuit.foot);
    const Complex admittance_per_farad(0.0, drive.omega * drive.capacitance);
    Complex foot = admittance_per_farad * circuit.shunt_f;
    Complex head = 0;
    for (Index k = 0; k < y.size(); ++k) {
        foot += circuit.foot(k) * y(k);
        head += circuit.head(k) * y(k);
    }
    return {foot, circuit.head_ratio + head / admittance_per_farad};
}

FootSlopes foot_slopes(const ModalCircuit& circuit, const Drive& drive) {
    using Complex = std::complex<double>;
    const Eigen::VectorXcd y = modal_currents(circuit, drive, circuit.foot);
    FootSlopes slopes;
    Complex squares = 0;
    slopes.admittance = Complex(0.0, drive.omega * drive.capacitance * circuit.shunt_f);
    for (Index k = 0; k < y.size(); ++k) {
        slopes.admittance += circuit.foot(k) * y(k);
        squares += y(k) * y(k);
    }
    slopes.by_log_inductance = Complex(0.0, -drive.omega * drive.inductance) * squares;
    if (drive.branch_resistance == 0.0) return slopes;
    Eigen::Matrix<double, Eigen::Dynamic, 2> parts(y.size(), 2);
    parts.col(0) = y.real();
    parts.col(1) = y.imag();
    const Eigen::Matrix<double, Eigen::Dynamic, 2> image = circuit.overlap * parts;
    const Complex lost(parts.col(0).dot(image.col(0)) - parts.col(1).dot(image.col(1)),
                       2 * parts.col(0).dot(image.col(1)));
    slopes.by_log_resistance = -drive.branch_resistance * lost;
    return slopes;
}

VectorXd mode_voltage(const ModalCircuit& circuit, const MatrixXd& inductance_h, Index mode) {
    const VectorXd step = inductance_h * circuit.current.col(mode) * std::sqrt(circuit.omega_squared(mode));
    VectorXd voltage = VectorXd::Zero(step.size() + 1);
    for (Index k = 0; k < step.size(); ++k) voltage(k + 1) = voltage(k) + step(k);
    return voltage;
}

}  // namespace coldtune::model
