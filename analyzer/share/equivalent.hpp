// The measured coil as a few ideal parts, for circuit simulation.
//
// Assumes one resonance: good around it and below, not toward the next mode. The foot's circuit is made so that its
// reactance is zero at exactly the measured frequency (the definition of the resonance there); the tank's has the
// measured undamped frequency.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "dsp/result.hpp"

namespace coldtune::share {

// R, L and C in series, from the foot to the return, and the capacitance of everything else beside them.
struct FootCircuit {
    double resistance_ohm = 0, inductance_h = 0, capacitance_f = 0;
    double beside_f = 0;  // 0 = none that could be told
};

// A capacitor across an inductor with its copper in series, behind the leads.
struct TankCircuit {
    double inductance_h = 0, resistance_ohm = 0, capacitance_f = 0;
    double lead_inductance_h = 0, lead_resistance_ohm = 0;  // 0 = none that could be told
};

// Inductance and copper in series, the winding's own capacitance across both.
struct WindingCircuit {
    double inductance_h = 0, resistance_ohm = 0, own_capacitance_f = 0;
};

struct Equivalent {
    std::variant<FootCircuit, TankCircuit, WindingCircuit> circuit;
    double low_hz = 0, high_hz = 0;    // where to look at it: around the resonance, or the winding's window
    std::vector<std::string> remarks;  // what was not measured and what stands in its place
};

// Errors: (rejected) a rejected result; (bad_input) a result that holds too little for a circuit: a standard, a pickup,
// a loading series, a below-band result without a curve.
Result<Equivalent> equivalent_of(const measure::MeasurementResult& result);

// The foot's zero of reactance, hertz: the series resonance raised by what lies beside it. Where that is so large that
// the reactance has no zero, the series resonance itself.
double zero_reactance_hz(const FootCircuit& circuit);

}  // namespace coldtune::share
