#include "analyzer/model/coupled_pair.hpp"

#include <Eigen/Eigenvalues>
#include <cmath>
#include <numbers>
#include <utility>

#include "analyzer/model/primary.hpp"
#include "analyzer/model/tank.hpp"

namespace coldtune::model {
namespace {

using Complex = std::complex<double>;
using Eigen::Index;
using std::numbers::pi;

}  // namespace

CoupledPair::CoupledPair(std::shared_ptr<const SecondaryModel> secondary, Eigen::VectorXd section_mutual_h,
                         const TankLoop& tank, const ModelScale& scale)
    : secondary_(std::move(secondary)), section_mutual_h_(std::move(section_mutual_h)), tank_(tank), scale_(scale) {
    const Eigen::MatrixXd& inductance = secondary_->branch_inductance_h();
    open_ = solve_modes(inductance, secondary_->node_capacitance_f(), Head::open);
    returned_ = solve_modes(inductance, secondary_->node_capacitance_f(), Head::returned);
    uniform_coupling_ = section_mutual_h_.sum() / std::sqrt(inductance.sum() * tank_.inductance_h);
    const double scaled = std::sqrt(scale_.inductance);
    mutual_open_ = scaled * (open_.current.transpose() * section_mutual_h_);
    mutual_returned_ = scaled * (returned_.current.transpose() * section_mutual_h_);
}

CoupledPair CoupledPair::with_secondary(std::shared_ptr<const SecondaryModel> secondary) const {
    return {std::move(secondary), section_mutual_h_, tank_, scale_};
}

Drive CoupledPair::drive_at(double frequency_hz) const {
    return {2 * pi * frequency_hz, scale_.resistance * secondary_->branch_resistance_ohm(frequency_hz),
            scale_.capacitance, scale_.inductance};
}

Complex CoupledPair::loop_impedance(double omega) const {
    const double elastance = tank_.capacitance_f ? 1 / *tank_.capacitance_f : 0;
    return {tank_.resistance_ohm, omega * tank_.inductance_h - elastance / omega};
}

Driven CoupledPair::driven(const ModalCircuit& circuit, const Eigen::VectorXd& mutual, double frequency_hz) const {
    const Drive drive = drive_at(frequency_hz);
    const double omega = drive.omega;
    // Modes driven by a volt at the foot, and by a volt of each mode's mutual inductance: y = from_foot - j w i from_tank.
    const Eigen::VectorXcd from_foot = modal_currents(circuit, drive, circuit.foot);
    const Eigen::VectorXcd from_tank = modal_currents(circuit, drive, mutual);
    const Eigen::VectorXcd linked = mutual.cast<Complex>();
    const Complex foot_to_tank = linked.cwiseProduct(from_foot).sum();
    const Complex tank_to_tank = linked.cwiseProduct(from_tank).sum();
    const Complex jw(0, omega);
    const Complex loop = -jw * foot_to_tank / (loop_impedance(omega) + omega * omega * tank_to_tank);
    const Eigen::VectorXcd y = from_foot - jw * loop * from_tank;
    const Complex per_farad = jw * drive.capacitance;
    return {per_farad * circuit.shunt_f + circuit.foot.cast<Complex>().cwiseProduct(y).sum(),
            circuit.head_ratio + circuit.head.cast<Complex>().cwiseProduct(y).sum() / per_farad};
}

Complex CoupledPair::foot_admittance(double frequency_hz) const {
    return driven(open_, mutual_open_, frequency_hz).foot_admittance;
}

Complex CoupledPair::head_volts_per_volt(double frequency_hz) const {
    return driven(open_, mutual_open_, frequency_hz).head_ratio;
}

Complex CoupledPair::winding_impedance(double frequency_hz) const {
    return 1.0 / driven(returned_, mutual_returned_, frequency_hz).foot_admittance;
}

Complex CoupledPair::tank_impedance(double frequency_hz) const {
    const Drive drive = drive_at(frequency_hz);
    const double omega = drive.omega;
    const Eigen::VectorXcd modes = modal_currents(open_, drive, mutual_open_);
    const Complex reflected = omega * omega * mutual_open_.cast<Complex>().cwiseProduct(modes).sum();
    const Complex primary = Complex(tank_.resistance_ohm, omega * tank_.inductance_h) + reflected;
    return 1.0 / (1.0 / primary + Complex(0, omega * tank_.capacitance_f.value_or(0)));
}

std::vector<double> CoupledPair::modes_hz() const {
    // In the secondary's own modes, whose inductance matrix is the unit matrix: an arrow of a pencil.
    const Index n = open_.omega_squared.size();
    const double per_root_h = 1 / std::sqrt(tank_.inductance_h);
    Eigen::MatrixXd stiffness = Eigen::MatrixXd::Zero(n + 1, n + 1);
    Eigen::MatrixXd inertia = Eigen::MatrixXd::Identity(n + 1, n + 1);
    stiffness.diagonal().head(n) = open_.omega_squared / (scale_.capacitance * scale_.inductance);
    if (tank_.capacitance_f) stiffness(n, n) = 1 / (*tank_.capacitance_f * tank_.inductance_h);
    inertia.col(n).head(n) = mutual_open_ * per_root_h / std::sqrt(scale_.inductance);
    inertia.row(n).head(n) = inertia.col(n).head(n).transpose();
    const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::MatrixXd> solver(stiffness, inertia, Eigen::EigenvaluesOnly);
    std::vector<double> modes;
    for (Index k = tank_.capacitance_f ? 0 : 1; k <= n; ++k) {
        modes.push_back(std::sqrt(solver.eigenvalues()(k)) / (2 * pi));
    }
    return modes;
}

TwoModes CoupledPair::two_modes() const {
    TwoModes reduced;
    const double scaled = std::sqrt(scale_.capacitance * scale_.inductance);
    const double first_hz = secondary_->modes_hz().front();
    if (tank_.capacitance_f) reduced.primary_frequency_hz = tank_frequency_hz(tank_.inductance_h, *tank_.capacitance_f);
    reduced.secondary_frequency_hz = first_hz / scaled;
    // Eigenvectors have no sign of their own: every mode's current is taken into the foot.
    reduced.coupling =
        std::copysign(mutual_open_(0), mutual_open_(0) * open_.foot(0)) / std::sqrt(scale_.inductance * tank_.inductance_h);
    reduced.uniform_coupling = uniform_coupling_;
    const Eigen::VectorXd voltage = mode_voltage(open_, secondary_->branch_inductance_h(), 0);
    const double head = voltage(voltage.size() - 1);
    reduced.head_capacitance_f = scale_.capacitance / (head * head);
    const double foot = open_.foot(0), own = open_.overlap(0, 0);
    for (Index k = 1; k < open_.omega_squared.size(); ++k) {
        const double same_way = std::copysign(1.0, open_.foot(k) * foot);
        reduced.higher.push_back({std::sqrt(open_.omega_squared(k) / open_.omega_squared(0)),
                                  std::abs(open_.foot(k) / foot), same_way * mutual_open_(k) / mutual_open_(0),
                                  open_.overlap(k, k) / own});
    }
    return reduced;
}

Result<CoupledPair> make_coupled_pair(const CoilDescription& coil, const ModelOptions& options,
                                      const std::optional<TankLoop>& tank) {
    if (!coil.primary || !coil.tank) {
        return bad_input("a coupled pair needs the primary and the tank described: add \"primary\" and \"tank\"");
    }
    auto built = SecondaryModel::build(coil, options);
    if (!built) return built.error();
    const auto secondary = std::make_shared<const SecondaryModel>(std::move(*built));
    const double tap = coil.tank->tap_turns.value_or(coil.primary->turns);
    return CoupledPair(secondary, primary_section_mutual_h(*coil.primary, tap, coil.secondary, secondary->sections()),
                       tank.value_or(described_tank(coil)));
}

}  // namespace coldtune::model
