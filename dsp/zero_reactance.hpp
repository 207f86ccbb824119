// Where the reactance of a fitted resonance is zero.
#pragma once

#include <optional>

#include "dsp/resonance_model.hpp"

namespace coldtune::dsp {

// Zero of the imaginary part nearest to f0, found outwards from f0 in u = Q (f/f0 - f0/f). The imaginary part of the
// resonance falls through zero at f0 and turns at |u| = 1, so a zero belonging to it lies within |u| < 3 or nowhere.
std::optional<double> find_zero_reactance(const ResonanceModel& model, const double* theta, double frequency_hz,
                                          double q);

}  // namespace coldtune::dsp
