// Curves to lay over one another: what was measured, what was fitted to it, what the model promises.
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "analyzer/model/secondary.hpp"
#include "dsp/capture.hpp"
#include "dsp/resonance_fit.hpp"

namespace coldtune::measure {

enum class Quantity {
    admittance_magnitude,
    admittance_phase,
    conductance,
    susceptance,
    impedance_magnitude,
    impedance_phase,
    resistance,
    reactance,
};

// "Admittance", "S"; phases in degrees.
std::string_view quantity_name(Quantity quantity);
std::string_view quantity_unit(Quantity quantity);

// One real quantity of a curve. Vectors of equal length; half_width_95 is twice the standard uncertainty of the
// quantity, from the standard deviation of the complex impedance with equal and independent quadratures, to first
// order; empty where the curve has no standard deviations.
struct Trace {
    std::vector<double> frequency_hz;
    std::vector<double> value;
    std::vector<double> half_width_95;
};
Trace trace_of(const Curve& curve, Quantity quantity);

// The model at the hookup `foot` or `winding` over a band (0 < low < high), dense enough around every mode inside it to
// draw peaks of any Q at any magnification. Empty for other hookups. No standard deviations.
Curve calculated_curve(const model::SecondaryModel& model, bench::Hookup hookup, dsp::Band band);

// The fit behind an in-band resonance, made again from the corrected curve. nullopt when the result is rejected, was
// found another way, or the second fit does not agree with the first within the stated uncertainty.
std::optional<dsp::ResonanceFit> fit_again(const MeasurementResult& result);

// What was fitted. In-band: the resonance curve over the window it was fitted in, by fitting the same form to the
// corrected curve again. Below-band: the scaled model up to just under the resonance. nullopt when the result is
// rejected, its way fits no such curve, or the second fit does not agree with the first within the stated uncertainty.
std::optional<Curve> fitted_curve(const MeasurementResult& result);

}  // namespace coldtune::measure
