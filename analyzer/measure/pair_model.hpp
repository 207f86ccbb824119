// The foot of a secondary whose tank is closed, in the parameters the fit works on.
//
// With x = f/f_b, u = f_a/f (b: the secondary's first mode with the tank open; a: the tank without the secondary) and
//     a = j (1 - 1/x^2) + x^(p_b - 1) / Q_b                 first mode of the secondary, over w L_b
//     z = j (1 - u^2) + u^(1 - p_a) / Q_a + j k^2 S_mm      tank, over w L_a
//     Y = j w C + g/x [ (z - 2 j k^2 S_fm + k^2 a S_fm^2) / (a z + k^2) + j S_ff ]
// is the admittance of the secondary's modes and one loop. The sums over the higher modes (rho their frequency, phi
// their foot current, mu their coupling, eta their resistance, all against the first mode's)
//     S_fm = sum phi mu (T - j eta loss T^2),  T = x^2 / (rho^2 - x^2),  loss the real part of a,
// S_mm with mu^2 and S_ff with phi^2 in the place of phi mu, exact without loss and to first order with it,
// are what a distributed coil adds to two lumped circuits. From the foot alone they cannot be told from f_a, f_b and k
// (five numbers in a curve of four): left out, f_a and f_b come out wrong by about k^2/5, thousands of ppm. Their form
// comes from the coil's description, else from a coil of usual proportions with a wide tolerance.
// Resistances rise with the powers p_a and p_b of frequency. g is the foot's strength: 1/R = g Q_b. Units: hertz,
// farad, siemens.
#pragma once

#include <Eigen/Core>
#include <array>
#include <complex>
#include <vector>

#include "analyzer/model/coupled_pair.hpp"
#include "dsp/least_squares.hpp"
#include "dsp/resonance_model.hpp"

namespace coldtune::measure {

// The higher modes, and how well their sums are known (relative standard uncertainties).
struct PairShape {
    std::vector<model::HigherMode> higher;
    double fm_u = 0, mm_u = 0;
    bool described = false;
};
// From a description with primary and tank: 15 %. A tape measure leaves 1.5 % open (3 mm of the primary's height and
// size, half a per cent of the winding's, tests/analyzer/pair_fit_test), but a winding whose own capacitance lies
// otherwise than described parts further: ladders of a stranger's making, bare resonance up to 8 % off, by up to 12 %.
PairShape shape_of(const model::TwoModes& modes);
// Without one: the middle of what bare and loaded coils over flat and upright primaries give; the tolerances hold them.
PairShape usual_shape();

struct PairParameters {
    double primary_hz = 0, secondary_hz = 0;
    double primary_q = 0, secondary_q = 0;
    double k = 0;
    double strength_s = 0;    // g
    double background_f = 0;  // C
    double secondary_exponent = 0.5, primary_exponent = 0.5;
    double background_error = 0;        // relative, of S_ff
    double fm_error = 0, mm_error = 0;  // likewise, of the other two
};

class PairModel {
public:
    static constexpr Eigen::Index parameters = 10;  // that are fitted; theta has two more, the errors of the shape
    static constexpr Eigen::Index priors = 3;       // on the last of those that are fitted: the data say little of them
    static constexpr Eigen::Index all = parameters + 2;
    using Derivatives = std::array<std::complex<double>, static_cast<std::size_t>(all)>;
    // Order of theta; frequencies, Q and k as logarithms (frequencies times Q), so that their errors are of order one.
    enum Index : Eigen::Index { primary, secondary, primary_q, secondary_q, coupling, strength, background };

    // The start fixes the scales.
    PairModel(const PairShape& shape, const PairParameters& start);

    [[nodiscard]] Eigen::VectorXd scaled(const PairParameters& physical) const;
    [[nodiscard]] PairParameters physical(const double* theta) const;
    [[nodiscard]] std::complex<double> admittance(double frequency_hz, const double* theta,
                                                  Derivatives* derivatives = nullptr) const;
    // Bins as ResonanceModel::problem has them, and behind them one residual per prior; `with_shape` has the errors
    // of the shape as the last parameters, without priors. `bins` must outlive the problem.
    [[nodiscard]] dsp::LeastSquaresProblem problem(const std::vector<dsp::ResonanceBin>& bins,
                                                   bool with_shape = false) const;
    // The pair's undamped resonances: a z = -k^2 without loss.
    [[nodiscard]] std::array<double, 2> resonances_hz(const PairParameters& at) const;
    // d(f_a, f_b, Q_a, Q_b, k)/dtheta, diagonal.
    [[nodiscard]] Eigen::VectorXd to_public(const double* theta) const;

private:
    // Sums over the higher modes, as in the head of this file.
    struct Sums {
        double fm = 0, mm = 0, ff = 0;
        void add(const model::HigherMode& mode, double weight);
        void add(const Sums& other, double weight);
    };
    struct AllSums {
        Sums value, value_slope;  // with T; slope: x d/dx
        Sums loss, loss_slope;    // with eta T^2
    };
    [[nodiscard]] AllSums sums(double x) const;
    std::complex<double> evaluate(double frequency_hz, const PairParameters& at, Derivatives* derivatives) const;

    PairShape shape_;
    std::vector<model::HigherMode> near_;  // summed one by one
    Sums far_, farther_;                   // the others, as x^2 and x^4 times these, without loss
    PairParameters scale_;
    double background_scale_f_ = 0;
};

}  // namespace coldtune::measure
