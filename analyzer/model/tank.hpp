// The tank circuit: primary, capacitor and the leads between them.
#pragma once

#include "analyzer/model/geometry.hpp"
#include "dsp/result.hpp"

namespace coldtune::model {

// Inductance of the closed tank, henry: the primary up to the tank's tap (the whole of it when none is given) and the
// leads.
double tank_inductance_h(const Primary& primary, const Tank& tank);

// Undamped resonance 1 / (2 pi sqrt(L C)), hertz, the secondary absent.
double tank_frequency_hz(double inductance_h, double capacitance_f);
double tank_frequency_hz(const Primary& primary, const Tank& tank);

// Tap, in turns, at which the tank resonates at a frequency; the tank's own tap is ignored. Errors (bad_input): the
// frequency is not positive, or lies outside what a tenth of a turn to the whole primary can reach; the sentence says
// that range and which capacitance would reach it with the whole primary.
Result<double> tap_for_frequency(const Primary& primary, const Tank& tank, double frequency_hz);

// Capacitance that brings the tank, tapped as it is, to a frequency > 0, farad.
double capacitance_for_frequency_f(const Primary& primary, const Tank& tank, double frequency_hz);

}  // namespace coldtune::model
