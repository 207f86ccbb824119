// What the two ways of evaluating the pickup share. Internal to measure.
#pragma once

#include <complex>
#include <vector>

#include "analyzer/measure/pickup.hpp"

namespace coldtune::measure::pickup {

using Complex = std::complex<double>;

// Bins pooled over at most a stated relative width: mean of the ratio, freed of the declared corner, and its variance.
struct Points {
    std::vector<double> frequency_hz;
    std::vector<Complex> value;  // V2/V1
    std::vector<double> sigma;   // per quadrature
};

// The high-pass of the second input behind the wire.
inline Complex corner(double frequency_hz, double corner_hz) {
    const Complex ju(0, frequency_hz / corner_hz);
    return ju / (1.0 + ju);
}

double declared_corner_hz(const dsp::BenchValues& bench);

// Pooled inside `band`, each pool at most `relative_width` of its frequency wide.
Points pool(const dsp::Response& response, const dsp::Band& band, double relative_width, double corner_hz);

// Standard uncertainty of ln(corner): input resistance and capacitance are declared, each within 30 % (rectangular).
inline constexpr double kCornerPrior = 0.25;

// What the lead and the resistor's end add to the foot behind the reference resistor: a clip lead of ten to thirty
// centimetres makes 5 to 30 pF to its surroundings (common practice, no source). It makes a corner with the reference
// resistor that bends the curve as a nearer resonance would; no standard sees it, the second input being on the wire.
inline constexpr double kFootLead_f = 15e-12, kFootLeadPrior_f = 15e-12;  // mean, standard uncertainty

// Capacitance of wire to head: the amplitude far below the resonance is wire / (wire + input).
double wire_capacitance_f(double amplitude, const dsp::BenchValues& bench);

void total(Resonance& resonance);

PickupOutcome below_the_resonance(const dsp::Response& response, const dsp::BenchValues& bench,
                                  const BenchTolerances& tolerances, const dsp::Band& usable,
                                  const ShapeFamily& family);

}  // namespace coldtune::measure::pickup
