// The two resonance models in the form the fit works on: dimensionless parameters, analytic derivatives, and the
// passage through the bench to the observed ratio.
//
// `immittance` V means the admittance Y (series form) or the impedance Z (parallel form). With u = Q (f/f0 - f0/f):
//     V(f) = offset + j w (c0 + c1 ((f/f_ref)^2 - 1)) + height * (1 - j g f0/f) / (1 + j u),   g = tilt, plus 1/Q with
//     loss in series with the coil (parallel form).
// With s = j w the resonance is height (w0/Q) (s + g w0) / (s^2 + s w0/Q + w0^2): every real section of second order
// without a constant. g = 0 is a series R-L-C (or the parallel dual) whose loss sits in its one resistor; loss in the
// other reactance as well makes g differ from 0 by up to 1/Q.
// c0 is the background element AT the reference frequency; that keeps c0 and c1 nearly independent. No approximation of
// u is made: 2 Q (f - f0)/f0 in its place would shift f0 by -f0/(8 Q^2) and Q by up to 0.65/Q^2.
#pragma once

#include <Eigen/Core>
#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/least_squares.hpp"
#include "dsp/resonance_fit.hpp"

namespace coldtune::dsp {

// One usable bin. The observed ratio is the Moebius map (a + b V) / (c + d V) of the immittance.
struct ResonanceBin {
    double frequency_hz = 0;
    std::complex<double> ratio;
    double ratio_variance = 0;  // E|error|^2, > 0
    double weight = 0;          // sqrt(2 / ratio_variance)
    std::complex<double> a, b, c, d;
    std::complex<double> cross;  // b c - a d
    std::complex<double> immittance;
    double immittance_sigma = 0;  // standard deviation of its real part (and of its imaginary part)
};

// Bins of the data that can be used, in order. A variance of zero (periods that repeat to the last bit) becomes that of
// a relative error of 1e-12 of the largest ratio: less than any converter, more than rounding of the arithmetic.
std::vector<ResonanceBin> usable_bins(const CorrectedResponse& data, ResonanceForm form);

struct ResonanceParameters {
    double frequency_hz = 0;
    double q = 0;
    double height = 0;      // 1/R siemens (series), R ohm (parallel)
    double background = 0;  // farad or henry at frequency_hz: c0 if that were the reference frequency
    double slope = 0;       // same unit, c1 likewise: change of the background per relative change of f^2
    double offset = 0;      // ohm (parallel form)
    double tilt = 0;        // dimensionless
};

// Which of the optional terms are free.
struct ResonanceTerms {
    bool curvature = false;
    bool tilt = false;
};

class ResonanceModel {
public:
    static constexpr std::size_t most_parameters = 7;
    using Derivatives = std::array<std::complex<double>, most_parameters>;

    // The start fixes the scales; its frequency becomes the reference frequency.
    ResonanceModel(ResonanceForm form, ResonanceTerms terms, bool series_loss, const ResonanceParameters& start);

    [[nodiscard]] Eigen::Index parameters() const { return parameters_; }
    [[nodiscard]] ResonanceForm form() const { return form_; }
    [[nodiscard]] ResonanceTerms terms() const { return terms_; }
    // Index of an optional parameter in theta, 0 where it is not free.
    [[nodiscard]] Eigen::Index slope_index() const { return slope_at_; }
    [[nodiscard]] Eigen::Index tilt_index() const { return tilt_at_; }
    [[nodiscard]] Eigen::VectorXd scaled(const ResonanceParameters& physical) const;
    [[nodiscard]] ResonanceParameters physical(const double* theta) const;

    // V and, unless null, dV/dtheta.
    [[nodiscard]] std::complex<double> immittance(double frequency_hz, const double* theta,
                                                  Derivatives* derivatives = nullptr) const;
    // The part of V that is not the resonance.
    [[nodiscard]] std::complex<double> background(double frequency_hz, const double* theta) const;
    // The resonance's factor 1 - j g f0/f.
    [[nodiscard]] std::complex<double> factor(double frequency_hz, const double* theta) const;

    // The whitened problem: per bin real and imaginary part of (model - observed ratio) / sqrt(variance / 2).
    [[nodiscard]] LeastSquaresProblem problem(std::span<const ResonanceBin> bins) const;
    // d(f0, Q, R, background, curvature)/dtheta, for the covariance in the order of ResonanceFit. `background` and
    // `curvature` are the C_s (1 + b (f/f0)^2) of the header.
    [[nodiscard]] Eigen::MatrixXd to_public(const double* theta) const;
    [[nodiscard]] double public_background(const double* theta) const;
    [[nodiscard]] double public_curvature(const double* theta) const;

private:
    // What is the same for every bin of an evaluation; frequencies in units of the reference.
    struct Shared {
        double f0 = 0, q = 0, tilt = 0;
    };
    [[nodiscard]] Shared shared(const double* theta) const;
    std::complex<double> evaluate(double frequency_hz, const double* theta, const Shared& shared,
                                  Derivatives* derivatives) const;

    ResonanceForm form_;
    ResonanceTerms terms_;
    bool series_loss_;
    ResonanceParameters scale_;
    double background_scale_;
    Eigen::Index parameters_;
    Eigen::Index offset_at_ = 0;  // indices in theta, where present
    Eigen::Index slope_at_ = 0;
    Eigen::Index tilt_at_ = 0;
};

}  // namespace coldtune::dsp
