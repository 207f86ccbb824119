// L, own C and the unloaded resonance from resonances under known capacitors.
//
// Maximum a posteriori fit of a LoadingCurve: free are the coil's inductance and capacitance, the true value of every
// capacitor within its limit, whatever acts on several points at once, and the shape of the coil. So the errors of both
// co-ordinates are in it, and every part's share of the uncertainty can be told.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/loading_curve.hpp"

namespace coldtune::measure {

// One resonance under one capacitor.
struct SeriesPoint {
    double capacitance_f = 0;  // as printed on it; 0 = no capacitor
    double limit_f = 0;        // plus/minus, rectangular; what the capacitors have in common is a shared effect
    double frequency_hz = 0;
    double noise_u_hz = 0;  // standard uncertainty of this point alone
};

// One thing that moves several points together: what a standard uncertainty of it does to each of them.
struct SharedEffect {
    std::string source;
    std::vector<double> frequency_relative;  // of the measured frequency, one element per point
    std::vector<double> capacitance_f;       // of the added capacitance, likewise
};

// Relative standard uncertainties of the described L and C; the fit starts from the description and is held to it so
// far. Without them (the straight line; a description that the series contradicts) the data alone decide.
struct SeriesPrior {
    double inductance = 0, capacitance = 0;
    // Of the described inductance by the description's own tolerances, narrower than what a fit may lean on. 0:
    // unknown.
    double stated_inductance = 0;
};

struct SeriesLine {
    std::string source;
    double frequency_u_hz = 0, inductance_u_h = 0, capacitance_u_f = 0;  // k = 1
};

// Values with 95 % half-widths (k = 2).
struct SeriesEstimate {
    double inductance_h = 0, inductance_u95_h = 0;
    // Empty when the data leave no positive own capacitance (only the straight line can).
    std::optional<double> capacitance_f, capacitance_u95_f;
    std::optional<double> frequency_hz, frequency_u95_hz;  // unloaded
    std::vector<SeriesLine> budget;
    std::vector<double> residual_hz;  // measured less fitted, the capacitors at their printed values
    double chi_square = 0;            // all misfits, those of the capacitors and the shape included
    std::size_t degrees_of_freedom = 0;
    // Probability that chance alone gives a chi square this large; 1 without a degree of freedom.
    [[nodiscard]] double chance() const;
};

// Empty if the points determine nothing: fewer than two capacitances, a resonance that does not fall as capacitance is
// added, no convergence. `effects` may be empty. Precondition: positive frequencies, limits >= 0.
std::optional<SeriesEstimate> fit_series(const std::vector<SeriesPoint>& points,
                                         const std::vector<SharedEffect>& effects, const LoadingCurve& curve,
                                         const std::optional<SeriesPrior>& prior);

// The straight line 1/(2 pi f)^2 = L (C_own + C), errors in both co-ordinates.
std::optional<SeriesEstimate> fit_straight_line(const std::vector<SeriesPoint>& points,
                                                const std::vector<SharedEffect>& effects);

}  // namespace coldtune::measure
