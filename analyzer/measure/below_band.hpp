// The below-band way: the resonance lies above the band, and the admittance below it tells where.
//
// Maximum a posteriori fit of the distributed model to the corrected foot admittance. Free: static capacitance, first
// resonance, residual stray at the foot, loss, the shape of the coil (ShapeFamily) and what the two inputs may still
// differ by; each with a prior. The resonance is a parameter itself, so its uncertainty is read from the posterior, and
// every prior's share of it is listed.
#pragma once

#include <variant>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/measure/shape_family.hpp"

namespace coldtune::measure {

struct BelowBandFit {
    Resonance resonance;
    double static_capacitance_f = 0;                     // of the coil, without the stray
    double inductance_ratio = 0, capacitance_ratio = 0;  // fitted over calculated
    double stray_f = 0, stray_u_f = 0;
    bool used_open = false;
    // How far the fit had to go from what was known beforehand, in standard uncertainties of each prior.
    struct Strain {
        double capacitance = 0, inductance = 0;  // of the description
        double shape = 0;                        // the largest of the shapes
        double stray = 0;                        // at the foot: the open standard, or the declared cable
        double channels = 0;                     // the largest of what the inputs may differ by
        double loss = 0;
    } strain;
    // What was fitted, as the corrected data would show it without noise: from the low end of the data to just under
    // the resonance. At the resonance itself the height is not known, so it is not drawn. No standard deviations.
    Curve fitted;
};

// Why the data do not give the resonance; the sentence says what would help.
struct BelowBandRefusal {
    std::string sentence;
};

using BelowBandOutcome = std::variant<BelowBandFit, BelowBandRefusal>;

// `band`: the part of the data to use. Precondition: the data hold the foot of the coil with the head free.
BelowBandOutcome find_below_band(const dsp::CorrectedResponse& data, const ShapeFamily& family,
                                 const dsp::BenchValues& bench, const BenchTolerances& tolerances,
                                 const std::optional<dsp::Band>& band);

// How far above the upper band edge a resonance may lie before it is refused.
inline constexpr double kBelowBandReach = 3.5;

}  // namespace coldtune::measure
