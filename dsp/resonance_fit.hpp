// Resonance by maximum likelihood on the complex data.
//
// Series form (the foot of a grounded-far-end resonator, an admittance peak):
//     Y(f) = j w C_s (1 + b (f/f0)^2) + (1/R) / (1 + j Q (f/f0 - f0/f))
// Parallel form (a coil across a capacitor, an impedance peak): the dual, Z(f) = R_s + j w L_s + R / (1 + j Q (f/f0 -
// f0/f)). The fit minimises sum |ratio - ratio_model|^2 / (variance/2) per quadrature in the observed ratio, where the
// noise is additive.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "dsp/correction.hpp"

namespace coldtune::dsp {

enum class ResonanceForm { series, parallel };

struct FitOptions {
    double window_bandwidths = 6;   // half width of the starting window in units of f0/Q; adapted to the data
    std::size_t minimum_bins = 12;  // fewer bins than this across the window is 'too coarse'
    double detection_sigma = 6;     // a peak lower than this many standard deviations is none
    // Parallel form only: the loss is a resistance r in series with the coil (a winding's copper) and not across the
    // resonator. L in series with r, across C, is exactly Z = R (1 - j f0/(f Q)) / (1 + j Q (f/f0 - f0/f)) with f0 =
    // 1/(2 pi sqrt(L C)), Q = 2 pi f0 L / r, R = Q^2 r; without this factor f0 of a tank is off by about 1/(2 Q^2).
    bool series_loss = false;
    // Of several peaks the lowest, not the tallest, where it lies an octave or more below that and has a fifth of its
    // height: the first mode of a coil below its overtones, which stand as high or higher where the wire's loss hardly
    // rises. Two circuits side by side lie nearer together.
    bool fundamental = false;
};

struct Peak {
    double frequency_hz = 0;
    double height = 0;        // of Re Y (siemens) or Re Z (ohm)
    double significance = 0;  // in standard deviations
};

struct ResonanceFit {
    ResonanceForm form = ResonanceForm::series;
    // f0 of the branch, its Q and R; then the two background terms. Covariance in that order (5 x 5), a priori
    // variances from the data's own noise (not scaled by chi square); rows of a parameter that was not needed are zero.
    double frequency_hz = 0;
    double q = 0;
    double resistance_ohm = 0;
    double background = 0;            // C_s farad (series) or L_s henry (parallel)
    double background_curvature = 0;  // b, dimensionless
    double offset = 0;                // R_s ohm (parallel only)
    // g of the resonance's factor 1 - j g f0/f, freed only where the data demand it: loss that does not all sit in the
    // branch's one resistor (dielectric loss of a coil seen from its foot) turns the resonance circle by up to 1/Q.
    double tilt = 0;
    Eigen::MatrixXd covariance;
    // Zero of the reactance nearest to f0 including the background (the definition of the resonance at the foot); equal
    // to frequency_hz where the total reactance has no zero. Its standard uncertainty follows the covariance.
    double zero_reactance_hz = 0;
    double zero_reactance_u_hz = 0;  // standard uncertainty (k = 1), noise only
    double q_u = 0;
    double resistance_u_ohm = 0;
    double chi_square = 0;
    std::size_t degrees_of_freedom = 0;
    // What noise does not explain: rms of data minus model within one bandwidth of the top, relative to the height; 0
    // where chi square is within its expectation.
    double misfit = 0;
    Band window;
    std::vector<Peak> other_peaks;  // further significant peaks, strongest first
    // Cross-checks, each from the corrected data by another route; nullopt-like NaN-free: empty where it cannot be
    // formed.
    std::optional<double> half_power_q;   // f0 / width at half conductance (resistance)
    std::optional<double> phase_slope_q;  // f0/2 * d(phase)/df at resonance, background removed
    std::optional<double> ringdown_q;     // decay of the inverse transform of the corrected response
};

// Why there is no fit; never accompanied by a number.
struct NoFit {
    enum class Reason { no_peak, at_band_edge, too_coarse, did_not_converge, does_not_describe };
    Reason reason = Reason::no_peak;
    std::string sentence;
};

using FitOutcome = std::variant<ResonanceFit, NoFit>;

FitOutcome fit_resonance(const CorrectedResponse& data, ResonanceForm form, const FitOptions& options = {});

// The three values of a fit that somebody asks a budget about.
struct ResonanceValues {
    double frequency_hz = 0, zero_reactance_hz = 0, q = 0, resistance_ohm = 0;
};

// The same form in the same window, fitted to data that differ a little from those of `base`: for finding how far a
// declared value moves the result. No search and no choice of window; the optional terms are freed as the data demand.
// A turn of all phases, say, is a tilt, and without one it would pass for another Q. nullopt where it does not
// converge, has left the window or turned over; a full fit then says more. Only bins inside base.window are looked at.
std::optional<ResonanceValues> refit_resonance(const CorrectedResponse& data, const ResonanceFit& base,
                                               const FitOptions& options = {});

// The significant peaks alone, highest first: where to look closer, also when the data are too coarse for a fit.
std::vector<Peak> find_peaks(const CorrectedResponse& data, ResonanceForm form, const FitOptions& options = {});

}  // namespace coldtune::dsp
