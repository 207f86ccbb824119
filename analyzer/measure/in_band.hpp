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

}  // namespace coldtune::measure
