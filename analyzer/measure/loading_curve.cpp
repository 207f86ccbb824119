#include "analyzer/measure/loading_curve.hpp"

#include <boost/math/interpolators/barycentric_rational.hpp>
#include <cmath>
#include <memory>
#include <numbers>

namespace coldtune::measure {
namespace {

// own(C) is an analytic function of C/(C + own(0)) over [0, 1]: a polynomial through this many Chebyshev points holds
// the resonance to better than 1e-6 (tested).
constexpr std::size_t kNodes = 9;

double own_at(const model::SecondaryModel& model, double inductance_h, double added_f) {
    const double f = added_f > 0 ? model.with_head_capacitance(added_f).modes_hz()[0] : model.modes_hz()[0];
    const double omega = 2 * std::numbers::pi * f;
    return 1 / (omega * omega * inductance_h) - added_f;
}

}  // namespace

LoadingCurve LoadingCurve::lumped(double own_f) {
    LoadingCurve curve;
    curve.own_f_ = own_f;
    return curve;
}

LoadingCurve LoadingCurve::of(const ShapeFamily& family) {
    LoadingCurve curve;
    curve.names_ = family.names();
    for (std::size_t k = 0; k <= family.names().size(); ++k) {
        const model::SecondaryModel& model = family.member(k);
        const double inductance_h = model.branch_inductance_h().sum();
        const double own_f = own_at(model, inductance_h, 0);
        if (k == 0) {
            curve.inductance_h_ = inductance_h;
            curve.own_f_ = own_f;
        }
        std::vector<double> share(kNodes), relative(kNodes);
        for (std::size_t i = 0; i < kNodes; ++i) {
            // Ascending; the ends are left out: C without end cannot be solved for.
            const double angle = std::numbers::pi * (2.0 * static_cast<double>(i) + 1) / (2.0 * kNodes);
            share[i] = 0.5 * (1 - std::cos(angle));
            relative[i] = own_at(model, inductance_h, own_f * share[i] / (1 - share[i])) / own_f;
        }
        // Of full order: the polynomial itself.
        auto polynomial = std::make_shared<const boost::math::barycentric_rational<double>>(
            share.data(), relative.data(), kNodes, kNodes - 1);
        // Exact without a capacitor, whatever the interpolation leaves there.
        const double at_zero = (*polynomial)(0.0);
        curve.relative_.emplace_back([polynomial, at_zero](double x) { return (*polynomial)(x)-at_zero + 1; });
    }
    return curve;
}

double LoadingCurve::own_f(double added_f, double capacitance, const double* shape) const {
    const double own = capacitance * own_f_;
    if (relative_.empty()) return own;
    const double share = added_f / (added_f + own);
    const double described = relative_.front()(share);
    double sum = described;
    for (std::size_t k = 1; k < relative_.size(); ++k) sum += shape[k - 1] * (relative_[k](share) - described);
    return own * sum;
}

}  // namespace coldtune::measure
