// The simulated bench's circuit, solved node by node.
//
// Kirchhoff's current law at every node, complex admittances, one linear system per frequency. Written from the wiring
// alone and sharing nothing with dsp/correction, whose inversion it is there to test.
//
//     1 V --[source]-- G --[reference]-- N --[lead]-- F --( device )-- E (return)
//                      |                 |            foot, head H
//                   input 1           input 2 (pickup: on the wire P near H instead; loopback: on G)
#pragma once

#include <complex>
#include <memory>
#include <optional>

#include "analyzer/bench/bench.hpp"
#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/model/secondary.hpp"
#include "dsp/result.hpp"

namespace coldtune::bench {

// Voltages per volt of the source's open-circuit voltage.
struct NodeVoltages {
    std::complex<double> generator;  // at input 1
    std::complex<double> coil;       // at input 2
    std::complex<double> head;       // of the coil; 0 where the hookup has none
};

// Admittance matrix of the coil between its foot and its head, return as the common terminal, siemens. Reciprocal.
struct TwoPort {
    std::complex<double> foot_foot;
    std::complex<double> foot_head;
    std::complex<double> head_head;
};

// The coil of a bench, built once and shared by every hookup it appears in. Immutable.
class BenchCoil {
public:
    // Errors (bad_input): a geometry that cannot be built. The loading capacitor is part of the coil.
    static Result<std::shared_ptr<const BenchCoil>> build(const Bench& bench);
    // The same coil with this much more capacitance from the head to the return, farad.
    [[nodiscard]] std::shared_ptr<const BenchCoil> with_head_capacitance(double added_f) const;

    // At a frequency > 0, without the foot resistance. Safe from any thread.
    [[nodiscard]] std::complex<double> foot_admittance(double frequency_hz) const;     // head free, siemens
    [[nodiscard]] std::complex<double> winding_admittance(double frequency_hz) const;  // head on the return, siemens
    [[nodiscard]] std::complex<double> head_per_foot(double frequency_hz) const;       // volt per volt, head free
    [[nodiscard]] TwoPort two_port(double frequency_hz) const;
    // Impedance across the tank capacitor with the secondary standing in it; nullopt while nothing couples them.
    [[nodiscard]] std::optional<std::complex<double>> tank_impedance(double frequency_hz) const;
    [[nodiscard]] double foot_resistance_ohm(double frequency_hz) const;

    [[nodiscard]] double first_resonance_hz() const noexcept { return first_resonance_hz_; }
    [[nodiscard]] double decay_time_s() const noexcept { return decay_time_s_; }

private:
    BenchCoil() = default;
    void settle_derived(std::optional<double> stated_q);
    Status couple(const Bench& bench, const Eigen::VectorXd& section_mutual_h);
    // The first branch's series impedance, with what the tank reflects into it.
    [[nodiscard]] std::complex<double> first_winding_ohm(double frequency_hz) const;

    LumpedCoil lumped_;
    std::shared_ptr<const model::SecondaryModel> model_;  // null = lumped
    std::shared_ptr<const model::CoupledPair> pair_;  // null = nothing coupled, or lumped
    double mutual_h_ = 0;                             // of the tank with the first lumped branch
    model::TankLoop loop_;
    model::ModelScale scale_;
    double foot_resistance_ohm_ = 0;
    double foot_resistance_exponent_ = 0;
    double first_resonance_hz_ = 0;
    double decay_time_s_ = 0;
};

// True for the hookups that have the coil in them.
bool needs_coil(Hookup hookup);
// The same on this bench: a closed tank sees the secondary that stands in it.
bool needs_coil(const Bench& bench, Hookup hookup);

class BenchCircuit {
public:
    // `coil` may be null for hookups without one; otherwise it comes from BenchCoil::build. Errors (bad_input): a value
    // of the bench out of its range, a coil missing where the hookup needs one.
    static Result<BenchCircuit> build(const Bench& bench, Hookup hookup, std::shared_ptr<const BenchCoil> coil);
    // Builds the coil too.
    static Result<BenchCircuit> build(const Bench& bench, Hookup hookup);

    // At a frequency >= 0 (hertz). Safe from any thread. The head is left out (0) unless asked for: it doubles the
    // cost.
    [[nodiscard]] NodeVoltages solve(double frequency_hz, bool with_head = false) const;

    // What hangs at the end of the lead, siemens: coil with its loading and foot resistance, tank, standard. nullopt
    // for a short circuit and the loopback.
    [[nodiscard]] std::optional<std::complex<double>> device_admittance(double frequency_hz) const;
    // Where the device's reactance is zero between two frequencies at which it has opposite signs, hertz, to 1e-13
    // relative: the resonance by definition. nullopt when the signs are equal.
    [[nodiscard]] std::optional<double> zero_reactance_hz(double low_hz, double high_hz) const;
    // Time in which the slowest oscillation falls by e, seconds; 0 for a hookup that stores nothing.
    [[nodiscard]] double decay_time_s() const;
    [[nodiscard]] Hookup hookup() const noexcept { return hookup_; }

private:
    BenchCircuit() = default;

    Wiring wiring_;
    LumpedTank tank_;
    Hookup hookup_ = Hookup::open;
    std::shared_ptr<const BenchCoil> coil_;  // null for hookups without one
};

// Checks everything of a bench that has a range; the sentence names the value as BENCH.json spells it.
Status check_bench(const Bench& bench);

}  // namespace coldtune::bench
