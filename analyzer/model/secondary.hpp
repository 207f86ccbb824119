// The calculated value: a distributed, axisymmetric, quasi-static model of the secondary from geometry alone.
//
// The winding is cut into equal sections. Branch inductances L (section self and mutual, with round-wire corrections),
// node capacitances C (charges on winding sections, top load and grounded surroundings). With A the incidence of
// branches on free nodes the resonances solve the generalised eigenproblem  A L^-1 A^T v = w^2 C v  with the foot
// grounded; every driven quantity is a sum over those modes. Assumes: no radiation (coil much smaller than a
// wavelength), rotational symmetry, conducting ground, no displacement current between turns other than through C.
// Valid to the first few modes.
#pragma once

#include <Eigen/Core>
#include <complex>
#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

#include "analyzer/model/geometry.hpp"
#include "dsp/result.hpp"

namespace coldtune::model {

struct ModelOptions {
    std::optional<std::size_t>
        sections;  // nullopt: chosen so that doubling moves the first mode by less than `convergence`
    double convergence = 1e-3;
};

// Factors that turn the calculated coil into the measured one (below-band fit). All 1 = as calculated.
struct ModelScale {
    double capacitance = 1;
    double inductance = 1;
    double resistance = 1;
};

// One node per section end, foot first, head (with the top load) last.
struct Profile {
    std::vector<double> position;  // 0 at the foot .. 1 at the head, along the winding
    std::vector<double> voltage;   // relative to the head
    std::vector<double> current;   // relative to the foot
};

// A mode seen from the foot: the series circuit of the same frequency, foot current and energy.
struct ModeEquivalent {
    double frequency_hz = 0;
    double inductance_h = 0;
    double capacitance_f = 0;
    double resistance_ohm = 0;  // copper loss alone
    double q = 0;
};

// The handbook's second opinion: Nagaoka/Lorenz current sheet with Rosa's corrections, Medhurst's table, top load
// isolated in free space.
struct Handbook {
    double inductance_h = 0;
    double capacitance_f = 0;
    double frequency_hz = 0;
};

// The figures of the contract (predict --json).
struct Calculated {
    double frequency_hz = 0;                    // first mode, foot grounded
    double frequency_u95_hz = 0;                // from the tolerances and the model itself
    double inductance_h = 0;                    // energy-equivalent for the first mode (referred to the foot current)
    double capacitance_f = 0;                   // so that 1/(2 pi sqrt(LC)) is the first mode
    double low_frequency_inductance_h = 0;      // uniform current
    double low_frequency_inductance_u95_h = 0;  // from the tolerances and the formula; below 0: not known
    double q = 0;                               // from copper loss alone: an upper bound
    double resistance_ohm = 0;                  // at the first mode, referred to the foot current
    double dc_resistance_ohm = 0;
    double head_volts_per_volt = 0;  // at the first mode
    double wire_length_m = 0;
    std::vector<double> modes_hz;  // first four
    Handbook handbook;
};

// Admittance at the foot with its derivatives by the logarithms of two factors of ModelScale.
struct FootSlopes;

class SecondaryModel {
public:
    // Errors: check_geometry's. Never fails numerically for a geometry that passed it.
    static Result<SecondaryModel> build(const CoilDescription& coil, const ModelOptions& options = {});

    SecondaryModel(SecondaryModel&&) noexcept;
    SecondaryModel& operator=(SecondaryModel&&) noexcept;
    ~SecondaryModel();

    [[nodiscard]] std::size_t sections() const;
    [[nodiscard]] std::span<const double> modes_hz() const;  // ascending, all of them
    [[nodiscard]] Profile profile(std::size_t mode) const;
    [[nodiscard]] ModeEquivalent equivalent(std::size_t mode) const;

    // Admittance at the foot, head free, siemens, at any frequency > 0; includes loss. Costs one sum over modes.
    [[nodiscard]] std::complex<double> foot_admittance(double frequency_hz, const ModelScale& scale = {}) const;
    [[nodiscard]] FootSlopes foot_slopes(double frequency_hz, const ModelScale& scale = {}) const;
    // Impedance at the foot with the head tied to the return (the `winding` hookup), ohm.
    [[nodiscard]] std::complex<double> winding_impedance(double frequency_hz, const ModelScale& scale = {}) const;
    // Head voltage per volt at the foot.
    [[nodiscard]] std::complex<double> head_volts_per_volt(double frequency_hz, const ModelScale& scale = {}) const;

    // Re-solve with a lumped capacitance from head to ground added (a what-if top load, a loading capacitor, a probe);
    // added_f >= 0.
    [[nodiscard]] SecondaryModel with_head_capacitance(double added_f) const;

    // The matrices themselves (for tests and for exports): n x n branch inductance, (n+1) x (n+1) node capacitance
    // (Maxwell), series resistance per branch at a frequency.
    [[nodiscard]] const Eigen::MatrixXd& branch_inductance_h() const;
    [[nodiscard]] const Eigen::MatrixXd& node_capacitance_f() const;
    [[nodiscard]] double branch_resistance_ohm(double frequency_hz) const;

private:
    struct State;
    explicit SecondaryModel(std::unique_ptr<State> state);
    std::unique_ptr<State> state_;
};

// Model, handbook and uncertainty together.
Result<Calculated> calculate(const CoilDescription& coil, const ModelOptions& options = {});

}  // namespace coldtune::model
