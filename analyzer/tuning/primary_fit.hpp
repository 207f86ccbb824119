// The described primary bent to what was measured at one or more taps.
//
//     L(t) = e^g [ L_calculated(t; sizes) + leads ]       apparent inductance with the described tank capacitor, henry
//
// g is the capacitor's deviation from its described value: a tank resonance alone cannot tell it from inductance, and
// need not, while the capacitor stays the same. A tap measured by inductance has neither g nor the tank's leads. Sizes
// (inner diameter, pitch, conductor), leads, g and the ring sums themselves are free within what is known of them
// beforehand (model::tank_limits_or_defaults, rectangular limits taken as standard uncertainties, GUM 4.3.7): one tap
// then settles mainly the scale, two or more also the leads and how inductance grows with turns. Least squares in
// ln L, so that 5 % of size is still a straight line. Frequencies are in the measuring interface's hertz.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/model/geometry.hpp"
#include "dsp/result.hpp"

namespace coldtune::tuning {

// How exactly a clip sits where it is said to, plus/minus, along the conductor (common practice, no source).
inline constexpr double kClipLimit_m = 5e-3;

struct MeasuredTap {
    enum class What {
        tank_frequency,      // hertz, with the described capacitor and leads
        tank_inductance,     // henry, leads included (a loading series)
        winding_inductance,  // henry, without the tank's leads
    };
    std::string name;  // how messages call it
    double turns = 0;
    What what = What::tank_frequency;
    double value = 0;
    double relative_u = 0;  // standard, without the clock
};

class PrimaryFit {
public:
    // Precondition: check_geometry(coil) passed. Errors: (bad_input) no primary or tank described; (usage) no tap, a
    // tap outside 0 < t <= turns.
    static Result<PrimaryFit> build(const model::CoilDescription& coil, const std::vector<MeasuredTap>& taps);

    // Tank resonance with the tap there, 0 < tap <= turns, and its relative standard uncertainty; the clip's own place
    // and the clock left out.
    [[nodiscard]] double frequency_hz(double tap_turns) const;
    [[nodiscard]] double frequency_u_relative(double tap_turns) const;
    // What the clip adds to that, relative, standard.
    [[nodiscard]] double clip_u_relative(double tap_turns) const;

    // Apparent tank inductance over the calculated one, leads included in both.
    [[nodiscard]] double scale(double tap_turns) const;
    // Leads, as far as the taps tell them from the rest; 95 %.
    [[nodiscard]] double lead_inductance_h() const;
    [[nodiscard]] double lead_inductance_u95_h() const;

    // Relative difference, measured less fitted, of the frequency (of an inductance: of the inductance), one per tap.
    [[nodiscard]] const std::vector<double>& residuals() const { return residuals_; }
    // That a primary within its limits lies this far or farther from the described one (chi square, one degree of
    // freedom a tap).
    [[nodiscard]] double chance() const { return chance_; }

    [[nodiscard]] const model::Primary& primary() const { return primary_; }
    [[nodiscard]] double capacitance_f() const { return capacitance_f_; }
    // Clip limit in turns at a tap.
    [[nodiscard]] double clip_turns(double tap_turns) const;

private:
    PrimaryFit() = default;
    struct Local {  // ln of the described winding's inductance at one tap, and its change per parameter
        double log_h = 0;
        Eigen::VectorXd by_size;
    };
    [[nodiscard]] Local local(double tap_turns) const;
    // ln of the apparent inductance and its gradient.
    [[nodiscard]] double log_inductance(const Local& at, MeasuredTap::What what, const Eigen::VectorXd& parameters,
                                        Eigen::VectorXd& gradient) const;

    model::Primary primary_;
    double capacitance_f_ = 0, lead_h_ = 0;
    double size_relative_ = 0, capacitor_log_u_ = 0, lead_u_h_ = 0;  // standard
    Eigen::VectorXd parameters_;                                     // in standard uncertainties of the prior
    Eigen::MatrixXd covariance_;
    std::vector<double> residuals_;
    double chance_ = 1;
};

}  // namespace coldtune::tuning
