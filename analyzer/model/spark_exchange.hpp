// What two coupled damped circuits do after the gap closes with the tank charged.
//
// Two lumped circuits, each an inductance, resistance and capacitance in series, with mutual inductance k sqrt(L1 L2):
//     L1 i1' + M i2' + R1 i1 + q1/C1 = 0,   q1' = i1,   and the same with 1 and 2 exchanged.
// With voltages and currents in roots of energy only f1, f2, Q1, Q2 and k are left. Solved in the time domain by the
// eigenvectors of the 4 x 4 system: exact, no approximation in k or Q. Without loss and tuned the split is
// f / sqrt(1 +- k) and the first complete transfer comes after 1 / (2 (f_high - f_low)), about 1/(2k) cycles
// (A. Oberbeck, Wied. Ann. 55, 623 (1895); F. E. Terman, Radio Engineers' Handbook (1943); both from memory).
//
// Linear and without a spark: the gap's own resistance, streamers and a gap that goes out at a notch are not in it.
#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <vector>

#include "dsp/result.hpp"

namespace coldtune::model {

// Frequencies undamped, each circuit's own with the other absent; Q = 2 pi f L / R; 0 < k < 1.
struct TwoCircuits {
    double primary_hz = 0, secondary_hz = 0;
    double primary_q = 0, secondary_q = 0;
    double k = 0;
};

// Energies are those of a capacitor at the envelope of its voltage, 1/2 C V^2: what the circuit holds at its voltage
// peaks. Shares of the energy in the tank at the start.
struct Exchange {
    double time_s = 0;
    double cycles = 0;  // of the tank's own frequency
    double primary_share = 0;
    double secondary_share = 0;
    bool to_secondary = true;  // a notch of the tank; false: the tank is full again
};

// At equal steps of time; voltages relative to the tank's at the start, the secondary's in units of sqrt(C1/C2) times
// that.
struct Envelopes {
    std::vector<double> time_s;
    std::vector<double> primary_voltage, secondary_voltage;
};

struct SparkExchange {
    struct Mode {
        double frequency_hz = 0;  // damped
        double decay_s = 0;       // in which it falls by e
    };
    std::array<Mode, 2> split;  // lower first
    // Notches and returns in turn, until less than a hundredth of the energy is left or `most_exchanges`. Empty where
    // the coupling is too loose for the losses: the energy then only seeps over.
    std::vector<Exchange> exchanges;
    // Largest voltage at the head, in units of sqrt(C1/C2) times the tank's voltage at the start: 1 for tuned circuits
    // without loss, but for where the peaks fall.
    double secondary_peak = 0;
    double secondary_peak_s = 0;
    Envelopes envelopes;

    [[nodiscard]] const Exchange* first_transfer() const { return exchanges.empty() ? nullptr : &exchanges.front(); }
};

struct SparkOptions {
    std::size_t most_exchanges = 12;
    std::size_t envelope_points = 400;
};

// Errors (bad_input): a value out of range: frequencies 1 Hz to 1 GHz and within a factor of ten of each other, Q from
// 2 to 1e6, k from 1e-4 to 0.95.
Result<SparkExchange> spark_exchange(const TwoCircuits& circuits, const SparkOptions& options = {});

// The waveforms themselves, in the units of Envelopes, at these times.
struct Waveforms {
    std::vector<double> primary_voltage, secondary_voltage;
};
Result<Waveforms> spark_waveforms(const TwoCircuits& circuits, const std::vector<double>& time_s);

}  // namespace coldtune::model
