// The in-band way: the resonance lies inside the usable band, so it is fitted and read off.
#pragma once

#include <variant>

#include "analyzer/measure/analysis.hpp"
#include "dsp/resonance_fit.hpp"

namespace coldtune::measure {

// Of a curve's height: what departs further from a single resonance is told and goes into the budget. Distributed coils
// with every kind of loss stay at a few ten-thousandths; a second coil close by, or a gain changed after the standards,
// begin here.
inline constexpr double notable_misfit = 0.01;

using InBandOutcome = std::variant<Resonance, dsp::NoFit>;

// `data` is what correct(coil, standards, bench) gave. The uncertainty budget (k = 1 each): noise (scaled by
// sqrt(chi2/dof) where that exceeds 1, since then something other than noise scatters the points), clock, and for each
// thing that was declared instead of measured the change of the result when it moves by its limit over sqrt 3
// (GUM 4.3.7, rectangular). `resonance_fit` receives the raw fit when there is one.
InBandOutcome find_in_band(const dsp::CorrectedResponse& data, const dsp::Response& coil,
                           const dsp::Standards& standards, const dsp::BenchValues& bench,
                           const BenchTolerances& tolerances, bench::Hookup hookup,
                           std::optional<double> clock_drift_ppm);

// How a resonance is sought at a hookup.
dsp::FitOptions fit_options(bench::Hookup hookup);

// Whether a further peak is a higher mode of the same coil: at the foot, one that lies an octave above its resonance
// and more. The second mode of a coil with its foot grounded lies at 2.4 to 5 times the first (the distributed model;
// forms from 0.7:1 to 8:1, bare and with a top load).
bool is_overtone(bench::Hookup hookup, double other_hz, double resonance_hz);

}  // namespace coldtune::measure
