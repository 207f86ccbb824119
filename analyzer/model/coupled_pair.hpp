// Secondary and tank together: the distributed secondary of secondary.hpp with one loop beside it.
//
// The tank is a single loop of inductance L1 (primary up to its tap, and leads), resistance R1 and capacitance C1; a
// mutual inductance m_k links it with branch k of the secondary. With M the incidence of branches on free nodes the
// currents x of the branches and i of the loop obey
//
//     (j w L + r + M^T C^-1 M / (j w)) x + j w m i = drive at the foot
//     j w m^T x + (R1 + j w L1 + 1 / (j w C1)) i   = 0
//
// Solved exactly for the matrices (a loop is a rank-one change of the secondary). Assumes what secondary.hpp assumes,
// and that the primary's own voltage, small beside the secondary's, puts no charge on the secondary: in the
// capacitances it is a grounded conductor. What either circuit's eddy currents do to the other is left out. SI units.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <memory>
#include <optional>
#include <vector>

#include "analyzer/model/geometry.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/model/secondary_modes.hpp"

namespace coldtune::model {

struct TankLoop {
    double inductance_h = 0;  // > 0
    double resistance_ohm = 0;
    std::optional<double> capacitance_f;  // nullopt: the primary is shorted, nothing stores charge
};

// A higher mode of the secondary against its first: what makes a distributed secondary differ from a coil and a
// capacitor when something couples to it near its foot.
struct HigherMode {
    double frequency_ratio = 0;  // > 1
    double foot_ratio = 0;       // current into the foot per square root of energy, against the first mode's
    double coupling_ratio = 0;   // coupling to the tank, against the first mode's
    double loss_ratio = 0;       // resistance of a loss even along the winding, against the first mode's
};

// The pair reduced to two modes.
//
// `coupling` is defined by energies: with i the tank's current and x the current along the secondary in its first mode,
//     k = (x^T m i) / sqrt(x^T L x * L1 i^2),
// the mutual energy over twice the geometric mean of the two magnetic energies. It is the k of two lumped circuits that
// exchange energy as the pair does. `uniform_coupling` is the same with the current equal all along the winding, which
// is what M / sqrt(L1 L2) and a measurement with the head tied say; it is smaller where the primary sits at the foot,
// because the oscillating secondary carries most of its current there.
struct TwoModes {
    double primary_frequency_hz = 0;    // tank alone, undamped, secondary removed
    double secondary_frequency_hz = 0;  // first mode, undamped, tank open
    double coupling = 0;
    double uniform_coupling = 0;
    double head_capacitance_f = 0;  // twice the energy of the first mode over the square of its head voltage
    std::vector<HigherMode> higher;
};

class CoupledPair {
public:
    // `section_mutual_h` has one value per section of the secondary. `scale` acts on the secondary; the mutual
    // inductance follows the square root of the inductance, so that the coupling stays. The pair must be physical: the
    // coupling below 1.
    CoupledPair(std::shared_ptr<const SecondaryModel> secondary, Eigen::VectorXd section_mutual_h, const TankLoop& tank,
                const ModelScale& scale = {});

    // The same tank beside the same winding with another top load: a model of as many sections.
    [[nodiscard]] CoupledPair with_secondary(std::shared_ptr<const SecondaryModel> secondary) const;

    // Undamped resonances with the foot on the return, hertz, ascending. The first two are the pair's; a shorted
    // primary makes one fewer.
    [[nodiscard]] std::vector<double> modes_hz() const;
    // Needs a tank with a capacitor.
    [[nodiscard]] TwoModes two_modes() const;

    // As SecondaryModel's, tank closed.
    [[nodiscard]] std::complex<double> foot_admittance(double frequency_hz) const;
    [[nodiscard]] std::complex<double> head_volts_per_volt(double frequency_hz) const;
    [[nodiscard]] std::complex<double> winding_impedance(double frequency_hz) const;
    // Impedance across the tank capacitor, foot of the secondary on the return, head free; ohm. With a shorted primary:
    // of the primary's terminals.
    [[nodiscard]] std::complex<double> tank_impedance(double frequency_hz) const;

private:
    [[nodiscard]] Drive drive_at(double frequency_hz) const;
    [[nodiscard]] std::complex<double> loop_impedance(double omega) const;
    [[nodiscard]] Driven driven(const ModalCircuit& circuit, const Eigen::VectorXd& mutual, double frequency_hz) const;

    std::shared_ptr<const SecondaryModel> secondary_;
    Eigen::VectorXd section_mutual_h_;  // as given
    TankLoop tank_;
    ModelScale scale_;
    ModalCircuit open_, returned_;
    Eigen::VectorXd mutual_open_, mutual_returned_;  // with each mode, in the scale of its current
    double uniform_coupling_ = 0;
};

// Copper loss of the primary up to a tap: skin effect of a straight round conductor, ohm. A lower bound: neighbouring
// turns, joints, capacitor and gap come on top. Resistivity of copper at 20 C.
double primary_copper_ohm(const Primary& primary, double tap_turns, double frequency_hz);

// The tank as described, its loss from the copper alone at its own resonance. The description must have a primary and a
// tank.
TankLoop described_tank(const CoilDescription& coil);

// Pair of a description with primary and tank: mutual inductance by filaments, tank as described unless given.
// Errors (bad_input): check_geometry's; no primary or no tank.
Result<CoupledPair> make_coupled_pair(const CoilDescription& coil, const ModelOptions& options = {},
                                      const std::optional<TankLoop>& tank = std::nullopt);

}  // namespace coldtune::model
