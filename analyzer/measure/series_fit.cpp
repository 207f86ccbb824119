#include "analyzer/measure/series_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <numbers>

#include "dsp/least_squares.hpp"

namespace coldtune::measure {
namespace {

// A resonance repeats no better than this whatever the noise says (common practice, no source); it also keeps the
// weights within what double precision can sort.
constexpr double kLeastRelativeNoise = 5e-6;
// Steps of the two coil parameters: ln L and C in units of this.
constexpr double kScale = 0.1;

double square_of_period(double frequency_hz) {  // 1/omega^2
    return std::pow(2 * std::numbers::pi * frequency_hz, -2);
}

struct Start {
    double inductance_h, own_f;
};

// The line through the two points with the least and the most capacitance.
std::optional<Start> line_through_ends(const std::vector<SeriesPoint>& points) {
    if (points.size() < 2) return std::nullopt;
    const auto [least, most] = std::minmax_element(
        points.begin(), points.end(), [](const auto& a, const auto& b) { return a.capacitance_f < b.capacitance_f; });
    const double span = most->capacitance_f - least->capacitance_f;
    const double rise = square_of_period(most->frequency_hz) - square_of_period(least->frequency_hz);
    if (!(span > 0) || !(rise > 0)) return std::nullopt;
    const double inductance = rise / span;
    return Start{inductance, square_of_period(least->frequency_hz) / inductance - least->capacitance_f};
}

struct SeriesProblem {
    const std::vector<SeriesPoint>& points;
    const std::vector<SharedEffect>& effects;
    const LoadingCurve& curve;
    std::optional<SeriesPrior> prior;

    // Parameters, all of order one: ln(L/described)/kScale, (C/described - 1)/kScale, the shapes, the capacitors, the
    // shared effects; the last three in standard uncertainties.
    enum Index : Eigen::Index { kInductance, kCapacitance, kShapes };
    [[nodiscard]] Eigen::Index shapes() const { return static_cast<Eigen::Index>(curve.shapes()); }
    [[nodiscard]] Eigen::Index count() const { return static_cast<Eigen::Index>(points.size()); }
    [[nodiscard]] Eigen::Index capacitors_at() const { return kShapes + shapes(); }
    [[nodiscard]] Eigen::Index effects_at() const { return capacitors_at() + count(); }
    [[nodiscard]] Eigen::Index parameters() const { return effects_at() + static_cast<Eigen::Index>(effects.size()); }
    // One row per point, then one per parameter; the first two of these hold the priors or nothing.
    [[nodiscard]] Eigen::Index rows() const { return count() + parameters(); }

    [[nodiscard]] double noise(std::size_t i) const {
        return std::max(kLeastRelativeNoise, points[i].noise_u_hz / points[i].frequency_hz);
    }

    // ln of the frequency that point i would show.
    [[nodiscard]] double log_frequency(const double* x, std::size_t i, bool capacitors_moved = true) const {
        const auto at = static_cast<Eigen::Index>(i);
        double added = points[i].capacitance_f;
        double relative = 0;
        if (capacitors_moved) {
            added += x[capacitors_at() + at] * points[i].limit_f / std::numbers::sqrt3;
            for (std::size_t s = 0; s < effects.size(); ++s) {
                const double size = x[effects_at() + static_cast<Eigen::Index>(s)];
                added += size * effects[s].capacitance_f[i];
                relative += size * effects[s].frequency_relative[i];
            }
        }
        const double own = curve.own_f(added, 1 + kScale * x[kCapacitance], x + kShapes);
        return relative - 0.5 * (std::log(curve.inductance_h()) + kScale * x[kInductance] + std::log(added + own)) -
               std::log(2 * std::numbers::pi);
    }

    void evaluate(const double* x, double* r, double* jacobian) const {
        for (std::size_t i = 0; i < points.size(); ++i) {
            r[i] = (log_frequency(x, i) - std::log(points[i].frequency_hz)) / noise(i);
        }
        double* own = r + count();
        const double weight[2] = {prior ? kScale / prior->inductance : 0, prior ? kScale / prior->capacitance : 0};
        for (Eigen::Index k = 0; k < parameters(); ++k) own[k] = (k < kShapes ? weight[k] : 1) * x[k];
        if (jacobian == nullptr) return;

        std::fill(jacobian, jacobian + rows() * parameters(), 0.0);
        // Central differences: parameters are of order one and the curve is smooth, so the error is about 1e-10.
        constexpr double kStep = 1e-5;
        std::vector<double> moved(x, x + parameters());
        for (Eigen::Index k = 0; k < parameters(); ++k) {
            double* column = jacobian + k * rows();
            column[count() + k] = k < kShapes ? weight[k] : 1;
            const auto self = static_cast<std::size_t>(k);
            for (std::size_t i = 0; i < points.size(); ++i) {
                const bool others_capacitor =
                    k >= capacitors_at() && k < effects_at() && k - capacitors_at() != static_cast<Eigen::Index>(i);
                if (others_capacitor) continue;
                moved[self] = x[k] + kStep;
                const double plus = log_frequency(moved.data(), i);
                moved[self] = x[k] - kStep;
                const double minus = log_frequency(moved.data(), i);
                moved[self] = x[k];
                column[i] = (plus - minus) / (2 * kStep) / noise(i);
            }
        }
    }
};

}  // namespace

double SeriesEstimate::chance() const {
    if (degrees_of_freedom == 0) return 1;
    const boost::math::chi_squared distribution(static_cast<double>(degrees_of_freedom));
    return boost::math::cdf(boost::math::complement(distribution, std::max(0.0, chi_square)));
}

std::optional<SeriesEstimate> fit_series(const std::vector<SeriesPoint>& points,
                                         const std::vector<SharedEffect>& effects, const LoadingCurve& curve,
                                         const std::optional<SeriesPrior>& prior) {
    const auto ends = line_through_ends(points);
    if (!ends) return std::nullopt;
    const SeriesProblem problem{points, effects, curve, prior};

    dsp::LeastSquaresProblem lsq;
    lsq.residuals = problem.rows();
    lsq.parameters = problem.parameters();
    lsq.evaluate = [&](const double* x, double* r, double* j) { problem.evaluate(x, r, j); };
    Eigen::VectorXd start = Eigen::VectorXd::Zero(lsq.parameters);
    start[SeriesProblem::kInductance] = std::log(ends->inductance_h / curve.inductance_h()) / kScale;
    // The distributed curve needs a positive capacitance to start from.
    const double own = curve.shapes() > 0 ? std::max(ends->own_f, 0.3 * curve.own_f()) : ends->own_f;
    start[SeriesProblem::kCapacitance] = (own / curve.own_f() - 1) / kScale;
    dsp::LeastSquaresOptions options;
    options.max_iterations = 300;
    options.cost_tolerance = 1e-8;
    const auto solution = dsp::minimise(lsq, start, options);
    if (!solution || !solution->converged()) return std::nullopt;
    const Eigen::VectorXd& x = solution->parameters;

    // The estimate is linear in data and priors, each of unit variance: the squares of its row weights are their
    // shares.
    std::vector<double> residual(static_cast<std::size_t>(problem.rows()));
    Eigen::MatrixXd j(problem.rows(), problem.parameters());
    problem.evaluate(x.data(), residual.data(), j.data());
    const Eigen::LDLT<Eigen::MatrixXd> normal(j.transpose() * j);
    const double capacitance = 1 + kScale * x[SeriesProblem::kCapacitance];
    Eigen::VectorXd pick = Eigen::VectorXd::Zero(problem.parameters());
    pick[SeriesProblem::kInductance] = kScale;
    const Eigen::VectorXd of_inductance = j * normal.solve(pick);
    pick.setZero();
    pick[SeriesProblem::kCapacitance] = kScale / capacitance;
    const Eigen::VectorXd of_capacitance = j * normal.solve(pick);
    const Eigen::VectorXd of_frequency = -0.5 * (of_inductance + of_capacitance);

    SeriesEstimate out;
    out.inductance_h = curve.inductance_h() * std::exp(kScale * x[SeriesProblem::kInductance]);
    const bool own_known = capacitance > 0;
    const double own_f = capacitance * curve.own_f();
    const double frequency_hz = own_known ? 1 / (2 * std::numbers::pi * std::sqrt(out.inductance_h * own_f)) : 0;
    SeriesLine total;
    const auto line = [&](const std::string& source, Eigen::Index first, Eigen::Index rows) {
        SeriesLine part;
        part.source = source;
        part.inductance_u_h = out.inductance_h * of_inductance.segment(first, rows).norm();
        if (own_known) {
            part.capacitance_u_f = own_f * of_capacitance.segment(first, rows).norm();
            part.frequency_u_hz = frequency_hz * of_frequency.segment(first, rows).norm();
        }
        total.inductance_u_h = std::hypot(total.inductance_u_h, part.inductance_u_h);
        total.capacitance_u_f = std::hypot(total.capacitance_u_f, part.capacitance_u_f);
        total.frequency_u_hz = std::hypot(total.frequency_u_hz, part.frequency_u_hz);
        out.budget.push_back(std::move(part));
    };
    const Eigen::Index n = problem.count();
    line("noise", 0, n);
    line("capacitors", n + problem.capacitors_at(), n);
    for (std::size_t s = 0; s < effects.size(); ++s) {
        line(effects[s].source, n + problem.effects_at() + static_cast<Eigen::Index>(s), 1);
    }
    if (prior) {
        line("described inductance", n + SeriesProblem::kInductance, 1);
        line("described capacitance", n + SeriesProblem::kCapacitance, 1);
    }
    for (std::size_t k = 0; k < curve.shapes(); ++k) {
        line("shape: " + curve.names()[k], n + SeriesProblem::kShapes + static_cast<Eigen::Index>(k), 1);
    }
    out.inductance_u95_h = 2 * total.inductance_u_h;
    if (own_known) {
        out.capacitance_f = own_f;
        out.capacitance_u95_f = 2 * total.capacitance_u_f;
        out.frequency_hz = frequency_hz;
        out.frequency_u95_hz = 2 * total.frequency_u_hz;
    }
    for (std::size_t i = 0; i < points.size(); ++i) {
        out.residual_hz.push_back(points[i].frequency_hz - std::exp(problem.log_frequency(x.data(), i, false)));
    }
    out.chi_square = solution->chi_square;
    out.degrees_of_freedom = points.size() - (prior ? 0 : 2);
    return out;
}

std::optional<SeriesEstimate> fit_straight_line(const std::vector<SeriesPoint>& points,
                                                const std::vector<SharedEffect>& effects) {
    const auto ends = line_through_ends(points);
    if (!ends) return std::nullopt;
    // Any capacitance of the right size will do as the unit of the own one.
    double largest = 0;
    for (const SeriesPoint& p : points) largest = std::max(largest, p.capacitance_f);
    const double unit = std::max(std::abs(ends->own_f), 0.01 * largest);
    return fit_series(points, effects, LoadingCurve::lumped(unit), std::nullopt);
}

}  // namespace coldtune::measure
