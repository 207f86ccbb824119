#include "analyzer/tuning/primary_fit.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <numbers>

#include "analyzer/model/primary.hpp"
#include "analyzer/model/tank.hpp"

namespace coldtune::tuning {
namespace {

// Parameters: the sizes, the ring sums, the leads, the capacitor.
Eigen::Index sizes() {
    return static_cast<Eigen::Index>(model::primary_sizes().size());
}
Eigen::Index at_model() {
    return sizes();
}
Eigen::Index at_leads() {
    return sizes() + 1;
}
Eigen::Index at_capacitor() {
    return sizes() + 2;
}
Eigen::Index count() {
    return sizes() + 3;
}

// The ring sums' own error is common to all taps (parameter) but for this rest, which no two taps share: part turns
// against whole ones, relative, of the inductance (largest seen against the wire's own path: 1e-3 in 4 to 10 turns;
// rectangular).
constexpr double kTapRest = 6e-4;
constexpr double kLongestStep = 3;  // of the fit, in standard uncertainties of the prior

}  // namespace

PrimaryFit::Local PrimaryFit::local(double tap_turns) const {
    Local at;
    at.log_h = std::log(model::primary_inductance_h(primary_, tap_turns));
    at.by_size.resize(sizes());
    for (Eigen::Index k = 0; k < sizes(); ++k) {
        model::Primary moved = primary_;
        model::primary_sizes()[static_cast<std::size_t>(k)].scale(moved, 1 + size_relative_);
        at.by_size(k) = std::log(model::primary_inductance_h(moved, tap_turns)) - at.log_h;
    }
    return at;
}

double PrimaryFit::log_inductance(const Local& at, MeasuredTap::What what, const Eigen::VectorXd& p,
                                  Eigen::VectorXd& gradient) const {
    const double winding_h =
        std::exp(at.log_h + at.by_size.dot(p.head(sizes())) + model::kPrimaryModelStandardRelative * p(at_model()));
    const bool with_leads = what != MeasuredTap::What::winding_inductance;
    // Leads that would eat the winding are none: what is left stays positive for its logarithm.
    const double whole_h =
        std::max(0.1 * winding_h, winding_h + (with_leads ? lead_h_ + lead_u_h_ * p(at_leads()) : 0.0));
    gradient = Eigen::VectorXd::Zero(count());
    gradient.head(sizes()) = at.by_size * (winding_h / whole_h);
    gradient(at_model()) = model::kPrimaryModelStandardRelative * winding_h / whole_h;
    if (with_leads) gradient(at_leads()) = lead_u_h_ / whole_h;
    if (what != MeasuredTap::What::tank_frequency) return std::log(whole_h);
    gradient(at_capacitor()) = capacitor_log_u_;
    return std::log(whole_h) + capacitor_log_u_ * p(at_capacitor());
}

double PrimaryFit::clip_turns(double tap_turns) const {
    // Metres per turn where the clip sits: a short piece of the conductor.
    const double step = 1e-3;
    const double from = std::max(0.0, tap_turns - step);
    const double metres =
        model::primary_conductor_length_m(primary_, tap_turns) - model::primary_conductor_length_m(primary_, from);
    return kClipLimit_m * (tap_turns - from) / metres;
}

double PrimaryFit::clip_u_relative(double tap_turns) const {
    const double step = std::min(0.01, 0.1 * tap_turns);
    const double slope = std::log(frequency_hz(tap_turns) / frequency_hz(tap_turns - step)) / step;
    return std::abs(slope) * clip_turns(tap_turns) / std::numbers::sqrt3;
}

double PrimaryFit::frequency_hz(double tap_turns) const {
    Eigen::VectorXd gradient;
    const double log_l = log_inductance(local(tap_turns), MeasuredTap::What::tank_frequency, parameters_, gradient);
    return model::tank_frequency_hz(std::exp(log_l), capacitance_f_);
}

double PrimaryFit::frequency_u_relative(double tap_turns) const {
    Eigen::VectorXd gradient;
    (void)log_inductance(local(tap_turns), MeasuredTap::What::tank_frequency, parameters_, gradient);
    const double variance = gradient.dot(covariance_ * gradient) + kTapRest * kTapRest;
    return 0.5 * std::sqrt(variance);
}

double PrimaryFit::scale(double tap_turns) const {
    Eigen::VectorXd gradient;
    const double log_l = log_inductance(local(tap_turns), MeasuredTap::What::tank_frequency, parameters_, gradient);
    return std::exp(log_l) / (model::primary_inductance_h(primary_, tap_turns) + lead_h_);
}

double PrimaryFit::lead_inductance_h() const {
    return lead_h_ + lead_u_h_ * parameters_(at_leads());
}

double PrimaryFit::lead_inductance_u95_h() const {
    return 2 * lead_u_h_ * std::sqrt(covariance_(at_leads(), at_leads()));
}

Result<PrimaryFit> PrimaryFit::build(const model::CoilDescription& coil, const std::vector<MeasuredTap>& taps) {
    if (!coil.primary || !coil.tank) {
        return bad_input("the description has no primary or no tank; describe both in COIL.json");
    }
    if (taps.empty()) return usage_error("no measured tap given; measure the tank at one tap at least");
    PrimaryFit fit;
    fit.primary_ = *coil.primary;
    fit.capacitance_f_ = coil.tank->capacitance_f;
    fit.lead_h_ = coil.tank->lead_inductance_h;
    const model::TankLimits limits = model::tank_limits_or_defaults(coil);
    fit.size_relative_ = limits.primary_relative / std::numbers::sqrt3;
    fit.capacitor_log_u_ = limits.capacitance_relative / std::numbers::sqrt3;
    fit.lead_u_h_ = limits.lead_inductance_h / std::numbers::sqrt3;

    const auto n = static_cast<Eigen::Index>(taps.size());
    std::vector<Local> locals;
    Eigen::VectorXd measured(n), sigma(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        const MeasuredTap& tap = taps[static_cast<std::size_t>(i)];
        if (!(tap.turns > 0 && tap.turns <= fit.primary_.turns)) {
            return usage_error(
                fmt::format("{}: the tap at {:.6g} turns must lie above 0 and not beyond the primary's "
                            "{:.6g}",
                            tap.name, tap.turns, fit.primary_.turns));
        }
        locals.push_back(fit.local(tap.turns));
        const bool tank = tap.what == MeasuredTap::What::tank_frequency;
        const double omega = 2 * std::numbers::pi * tap.value;
        measured(i) = tank ? -std::log(omega * omega * fit.capacitance_f_) : std::log(tap.value);
        const double step = std::min(0.01, 0.1 * tap.turns);
        const double slope = (locals.back().log_h - fit.local(tap.turns - step).log_h) / step;
        const double clip = slope * fit.clip_turns(tap.turns) / std::numbers::sqrt3;
        sigma(i) = std::hypot((tank ? 2 : 1) * tap.relative_u, clip, kTapRest);
    }

    // Gauss and Newton: all but the leads is a straight line already, a few rounds reach rounding.
    fit.parameters_ = Eigen::VectorXd::Zero(count());
    Eigen::MatrixXd jacobian(n, count());
    Eigen::VectorXd residual(n), gradient;
    const auto evaluate = [&] {
        for (Eigen::Index i = 0; i < n; ++i) {
            const auto k = static_cast<std::size_t>(i);
            const double value = fit.log_inductance(locals[k], taps[k].what, fit.parameters_, gradient);
            residual(i) = (measured(i) - value) / sigma(i);
            jacobian.row(i) = gradient.transpose() / sigma(i);
        }
    };
    for (int round = 0; round < 20; ++round) {
        evaluate();
        const Eigen::MatrixXd normal = jacobian.transpose() * jacobian + Eigen::MatrixXd::Identity(count(), count());
        const Eigen::LLT<Eigen::MatrixXd> factor(normal);
        const Eigen::VectorXd step = factor.solve(jacobian.transpose() * residual - fit.parameters_);
        fit.parameters_ += step * std::min(1.0, kLongestStep / std::max(kLongestStep, step.norm()));
        fit.covariance_ = factor.solve(Eigen::MatrixXd::Identity(count(), count()));
        if (step.norm() < 1e-12) break;
    }
    evaluate();
    const double chi_square = residual.squaredNorm() + fit.parameters_.squaredNorm();
    fit.chance_ = boost::math::cdf(
        boost::math::complement(boost::math::chi_squared(static_cast<double>(n)), std::max(0.0, chi_square)));
    for (Eigen::Index i = 0; i < n; ++i) {
        const bool tank = taps[static_cast<std::size_t>(i)].what == MeasuredTap::What::tank_frequency;
        fit.residuals_.push_back(std::expm1(residual(i) * sigma(i) * (tank ? -0.5 : 1)));
    }
    return fit;
}

}  // namespace coldtune::tuning
