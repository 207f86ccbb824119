#include "dsp/fit_window.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <numbers>

namespace coldtune::dsp {
namespace {

// A bin whose squared residual exceeds this (chi square, 2 degrees: probability 1e-11) while its neighbours stay below
// a tenth of it is a spoiled bin (a whistle, a hum line) and is left out.
constexpr double spoiled_chi_square = 50;

// Loss divided in any way between the reactances turns the circle by no more than 1/Q, loss that grows with frequency
// by a quarter of that the other way. A larger tilt is not loss but a second resonance.
constexpr double largest_tilt = 1.5;

// Without the covariance, which only the last of several fits needs.
std::optional<Attempt> solve(std::vector<ResonanceBin> bins, const ResonanceModel& model,
                             const ResonanceParameters& start) {
    const auto problem = model.problem(bins);
    auto solution = minimise(problem, model.scaled(start));
    if (!solution || !solution->converged()) return std::nullopt;
    Attempt attempt{{}, {}, model, solution->parameters, {}, solution->chi_square, 0, 0, 0};
    attempt.degrees_of_freedom = static_cast<double>(problem.residuals - problem.parameters);
    attempt.bins = std::move(bins);
    return attempt;
}

// False where the data do not determine all parameters.
bool with_covariance(Attempt& attempt) {
    if (attempt.covariance.size() > 0) return true;
    auto covariance = covariance_at(attempt.model.problem(attempt.bins), attempt.theta);
    if (!covariance) return false;
    attempt.covariance = std::move(*covariance);
    return true;
}

// Leaves spoiled bins out; true if there were any.
bool drop_spoiled(Attempt& attempt) {
    const auto problem = attempt.model.problem(attempt.bins);
    Eigen::VectorXd residuals(problem.residuals);
    problem.evaluate(attempt.theta.data(), residuals.data(), nullptr);
    auto kept = without_spoiled(attempt.bins, residuals);
    if (kept.size() == attempt.bins.size()) return false;
    attempt.bins = std::move(kept);
    return true;
}

std::vector<ResonanceTerms> further_terms(ResonanceTerms now) {
    std::vector<ResonanceTerms> further;
    if (!now.curvature) further.push_back({true, now.tilt});
    if (!now.tilt) further.push_back({now.curvature, true});
    return further;
}

// By how much chi square would fall to first order, if the model were linear, with `terms` free besides what every
// model has. `sums`: of `all`, the model with both terms.
double predicted_fall(const Eigen::MatrixXd& sums, const ResonanceModel& all, ResonanceTerms terms) {
    std::vector<Eigen::Index> kept;
    for (Eigen::Index k = 0; k < all.parameters(); ++k) {
        const bool left_out = (k == all.slope_index() && !terms.curvature) || (k == all.tilt_index() && !terms.tilt);
        if (!left_out) kept.push_back(k);
    }
    const Eigen::VectorXd scale = sums.diagonal().cwiseSqrt().cwiseInverse()(kept);
    const Eigen::VectorXd gradient = scale.asDiagonal() * Eigen::VectorXd(sums(kept, all.parameters()));
    const Eigen::MatrixXd normal = scale.asDiagonal() * Eigen::MatrixXd(sums(kept, kept)) * scale.asDiagonal();
    return gradient.dot(normal.ldlt().solve(gradient));
}

// Two fits in nested windows agree if they differ by no more than the smaller window's surplus of noise allows: the
// variance of the difference is the difference of the variances (Hausman's test, Econometrica 46 (1978) 1251).
bool consistent(const Attempt& wide, const Attempt& narrow) {
    const auto a = wide.physical();
    const auto b = narrow.physical();
    const auto close = [](double difference, double wide_variance, double narrow_variance) {
        const double spare = std::max(narrow_variance - wide_variance, 0.01 * narrow_variance);
        return difference * difference < 9 * spare;
    };
    // In units free of the two models' scales: frequency in bandwidths, Q relative.
    const double shift = std::log(a.frequency_hz / b.frequency_hz) * b.q;
    const auto frequency_variance = [&](const Attempt& attempt) {
        const double hz = attempt.model.to_public(attempt.theta.data())(0, 0);
        return attempt.covariance(0, 0) * std::pow(hz / b.frequency_hz * b.q, 2);
    };
    return close(shift, frequency_variance(wide), frequency_variance(narrow)) &&
           close(std::log(a.q / b.q), wide.covariance(1, 1), narrow.covariance(1, 1));
}

// In the immittance and not in the ratio: a resonance of small impedance behind a large resistor fills the ratio's
// range with its flanks, and two merged peaks would pass for one.
double misfit_of(const Attempt& attempt) {
    const double freedom = attempt.degrees_of_freedom;
    if (attempt.chi_square < freedom + 3 * std::sqrt(2 * freedom)) return 0;
    const auto fit = attempt.physical();
    double square = 0;
    int count = 0;
    for (const auto& bin : attempt.bins) {
        const double u = fit.q * (bin.frequency_hz / fit.frequency_hz - fit.frequency_hz / bin.frequency_hz);
        if (std::abs(u) > 2) continue;
        const auto model = attempt.model.immittance(bin.frequency_hz, attempt.theta.data());
        square += std::norm(bin.immittance - model) - 2 * bin.immittance_sigma * bin.immittance_sigma;
        ++count;
    }
    return square > 0 ? std::sqrt(square / count) / fit.height : 0.0;
}

}  // namespace

std::vector<ResonanceBin> without_spoiled(const std::vector<ResonanceBin>& bins, const Eigen::VectorXd& residuals) {
    const std::size_t n = bins.size();
    std::vector<double> square(n);
    for (std::size_t i = 0; i < n; ++i) {
        square[i] = residuals.segment<2>(2 * static_cast<Eigen::Index>(i)).squaredNorm();
    }
    auto sorted = square;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(n / 2), sorted.end());
    const double scale = std::max(1.0, sorted[n / 2] / (2 * std::numbers::ln2));  // median of chi square, 2 degrees
    std::vector<ResonanceBin> kept;
    for (std::size_t i = 0; i < n; ++i) {
        const double near = std::max(i > 0 ? square[i - 1] : 0.0, i + 1 < n ? square[i + 1] : 0.0);
        const bool spoiled = square[i] > spoiled_chi_square * scale && near < 0.1 * square[i];
        if (!spoiled) kept.push_back(bins[i]);
    }
    return 20 * (n - kept.size()) > n ? bins : kept;
}

Window window_around(std::span<const ResonanceBin> bins, const ResonanceParameters& at, double bandwidths,
                     const Band& limits) {
    // |f/f0 - f0/f| <= 2 bandwidths / Q
    const double half = bandwidths / at.q;
    const double root = std::sqrt(1 + half * half);
    const double low = std::max(at.frequency_hz * (root - half), limits.low_hz);
    const double high = std::min(at.frequency_hz * (root + half), limits.high_hz);
    const auto below = [](const ResonanceBin& bin, double f) { return bin.frequency_hz < f; };
    const auto above = [](double f, const ResonanceBin& bin) { return f < bin.frequency_hz; };
    return {static_cast<std::size_t>(std::lower_bound(bins.begin(), bins.end(), low, below) - bins.begin()),
            static_cast<std::size_t>(std::upper_bound(bins.begin(), bins.end(), high, above) - bins.begin())};
}

bool Fitter::lost(const Attempt& attempt) const {
    const auto found = attempt.physical();
    return !(found.height > 0) || !(found.q > 0.3) || found.frequency_hz < limits_.low_hz ||
           found.frequency_hz > limits_.high_hz;
}

std::optional<Attempt> Fitter::within(const Window& window, const ResonanceParameters& start) const {
    if (window.size() < 5) return std::nullopt;
    const auto chosen = bins_.subspan(window.first, window.size());
    const ResonanceModel model(form_, {}, options_.series_loss, start);
    auto attempt = solve({chosen.begin(), chosen.end()}, model, start);
    if (!attempt || lost(*attempt)) return std::nullopt;
    if (drop_spoiled(*attempt)) {
        attempt = solve(std::move(attempt->bins), attempt->model, attempt->physical());
        if (!attempt) return std::nullopt;
    }
    free_terms(*attempt);
    if (!with_covariance(*attempt)) return std::nullopt;
    attempt->window = window;
    return attempt;
}

std::optional<Attempt> Fitter::at(double bandwidths, ResonanceParameters start) const {
    std::optional<Attempt> attempt;
    Window window;
    for (int round = 0; round < 8; ++round) {
        const Window next = window_around(bins_, start, bandwidths, limits_);
        // An estimate moving by a few bins at the window's ends has settled.
        const auto moved = [](std::size_t a, std::size_t b) { return a > b ? a - b : b - a; };
        const std::size_t slack = window.size() / 50;
        if (attempt && moved(next.first, window.first) <= slack && moved(next.last, window.last) <= slack) break;
        window = next;
        if (window.size() < 5) return std::nullopt;
        const auto chosen = bins_.subspan(window.first, window.size());
        attempt = solve({chosen.begin(), chosen.end()}, ResonanceModel(form_, {}, options_.series_loss, start), start);
        if (!attempt) return std::nullopt;
        if (lost(*attempt)) return std::nullopt;
        start = attempt->physical();
    }
    if (drop_spoiled(*attempt)) {
        auto again = solve(std::move(attempt->bins), attempt->model, start);
        if (!again) return std::nullopt;
        attempt = std::move(again);
        start = attempt->physical();
    }
    free_terms(*attempt);
    if (!with_covariance(*attempt)) return std::nullopt;
    attempt->window = window;
    attempt->bandwidths = bandwidths;
    attempt->misfit = misfit_of(*attempt);
    return attempt;
}

// Frees the optional terms one after the other as long as chi square falls by more than the log of the number of
// data (Bayesian information criterion; G. Schwarz, Ann. Statist. 6 (1978) 461) and 6 more, so that noise alone
// frees one in fewer than a thousandth of all fits. The fall is first predicted from one linearisation.
void Fitter::free_terms(Attempt& attempt) const {
    for (int round = 0; round < 2; ++round) {
        const double needed = 6 + std::log(2 * static_cast<double>(attempt.bins.size()));
        if (attempt.chi_square < needed) return;
        const auto start = attempt.physical();
        const auto options = further_terms(attempt.model.terms());
        if (options.empty()) return;
        const ResonanceModel all(form_, {true, true}, options_.series_loss, start);
        const Eigen::MatrixXd sums = normal_sums(all.problem(attempt.bins), all.scaled(start).data());
        std::optional<Attempt> best;
        for (const auto& terms : options) {
            if (predicted_fall(sums, all, terms) < needed / 2) continue;
            auto next = solve(attempt.bins, ResonanceModel(form_, terms, options_.series_loss, start), start);
            if (!next || !(next->physical().height > 0)) continue;
            if (std::abs(next->physical().tilt) * next->physical().q > largest_tilt) continue;
            if (attempt.chi_square - next->chi_square < needed || !with_covariance(*next)) continue;
            if (!best || next->chi_square < best->chi_square) best = std::move(next);
        }
        if (!best) return;
        attempt = std::move(*best);
    }
}

std::optional<Attempt> best_window(const Fitter& fitter, const Attempt& first, double bandwidths) {
    std::vector<Attempt> attempts;
    ResonanceParameters start = first.physical();
    for (const double factor : {2.0, 1.0, 0.5, 0.25}) {
        auto attempt = factor == 1.0 ? std::optional(first) : fitter.at(factor * bandwidths, start);
        if (!attempt) continue;
        if (!attempts.empty()) {
            const auto& wider = attempts.back();
            if (wider.misfit == 0 && consistent(wider, *attempt)) return wider;
        }
        start = attempt->physical();
        attempts.push_back(std::move(*attempt));
    }
    if (attempts.empty()) return std::nullopt;
    if (attempts.back().misfit == 0) return attempts.back();
    return *std::min_element(attempts.begin(), attempts.end(),
                             [](const Attempt& a, const Attempt& b) { return a.total_error() < b.total_error(); });
}

}  // namespace coldtune::dsp
