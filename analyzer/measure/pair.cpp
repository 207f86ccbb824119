#include "analyzer/measure/pair.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/declared_values.hpp"
#include "analyzer/measure/evidence.hpp"

namespace coldtune::measure {
namespace {

using Vector = Eigen::Matrix<double, 5, 1>;
using Matrix = Eigen::Matrix<double, 5, 5>;

Vector vector_of(const PairParameters& p) {
    return {p.primary_hz, p.secondary_hz, p.primary_q, p.secondary_q, p.k};
}

// The lines of the budget and the covariance they add up to, the two peaks' own variances beside it.
struct Sum {
    std::vector<PairBudgetLine> lines;
    Matrix covariance = Matrix::Zero();
    std::array<double, 2> peak_variance{};

    void add(std::string source, const Matrix& part) {
        const Vector u = part.diagonal().cwiseMax(0).cwiseSqrt();
        lines.push_back({std::move(source), u(0), u(1), u(2), u(3), u(4)});
        covariance += part;
    }
    void add(std::string source, const Vector& shift, const std::array<double, 2>& peak_shift_hz) {
        add(std::move(source), Matrix(shift * shift.transpose()));
        for (std::size_t m = 0; m < 2; ++m) peak_variance[m] += peak_shift_hz[m] * peak_shift_hz[m];
    }
};

}  // namespace

PairOutcome find_pair(const dsp::CorrectedResponse& data, const dsp::Response& coil, const dsp::Standards& standards,
                      const dsp::BenchValues& bench, const BenchTolerances& tolerances, const PairShape& shape,
                      std::optional<double> clock_drift_ppm) {
    const PairFitOutcome outcome = fit_pair(data, shape);
    if (const auto* why = std::get_if<std::string>(&outcome)) return *why;
    const PairFit& fit = std::get<PairFit>(outcome);
    const Vector found = vector_of(fit.value);

    Sum sum;
    const double misfit =
        fit.degrees_of_freedom > 0 ? std::max(1.0, fit.chi_square / static_cast<double>(fit.degrees_of_freedom)) : 1.0;
    sum.add("noise", Matrix(misfit * fit.noise_covariance));
    sum.add("form of the loss", Matrix(fit.fitted_covariance - fit.noise_covariance));
    sum.add("form of the current", Matrix(fit.covariance - fit.fitted_covariance));
    for (std::size_t m = 0; m < 2; ++m) sum.peak_variance[m] = misfit * fit.resonance_u_hz[m] * fit.resonance_u_hz[m];

    const double rectangular = 1 / std::sqrt(3.0);
    const auto add_clock = [&](const char* source, double relative) {
        const Vector shift = found.cwiseProduct(Vector(relative, relative, 0, 0, 0));
        sum.add(source, shift, {fit.resonance_hz[0] * relative, fit.resonance_hz[1] * relative});
    };
    add_clock("clock", tolerances.clock_ppm * 1e-6 * rectangular);
    if (clock_drift_ppm && std::abs(*clock_drift_ppm) >= notable_drift_ppm) {
        add_clock("clock drift", std::abs(*clock_drift_ppm) * 1e-6 * rectangular);
    }
    for (const DeclaredValue& declared : declared_values(standards, tolerances)) {
        BenchCaptures moved{coil, standards, bench};
        declared.move(moved);
        const auto corrected = dsp::correct(moved.coil, moved.standards, moved.values);
        if (!corrected) continue;
        const PairFitOutcome again = fit_pair(*corrected, shape, &fit);
        const auto* other = std::get_if<PairFit>(&again);
        if (other == nullptr) {
            // As for a single resonance: an effect that is not known is not a small one.
            return fmt::format(
                "the two circuits are no longer found when the {} moves within its tolerance; measure the standards "
                "(open, short, load) and analyse again",
                declared.source);
        }
        sum.add(declared.source, vector_of(other->value) - found,
                {other->resonance_hz[0] - fit.resonance_hz[0], other->resonance_hz[1] - fit.resonance_hz[1]});
    }

    Pair pair;
    const Vector u = sum.covariance.diagonal().cwiseSqrt();
    pair.primary_frequency_hz = found(0);
    pair.primary_frequency_u95_hz = 2 * u(0);
    pair.secondary_frequency_hz = found(1);
    pair.secondary_frequency_u95_hz = 2 * u(1);
    pair.primary_q = found(2);
    pair.primary_q_u95 = 2 * u(2);
    pair.secondary_q = found(3);
    pair.secondary_q_u95 = 2 * u(3);
    pair.k = found(4);
    pair.k_u95 = 2 * u(4);
    pair.lower = {fit.resonance_hz[0], 2 * std::sqrt(sum.peak_variance[0]), fit.conductance_s[0]};
    pair.upper = {fit.resonance_hz[1], 2 * std::sqrt(sum.peak_variance[1]), fit.conductance_s[1]};
    for (std::size_t i = 0; i < 5; ++i) {
        for (std::size_t k = 0; k < 5; ++k) {
            const auto a = static_cast<Eigen::Index>(i), b = static_cast<Eigen::Index>(k);
            pair.correlation[i][k] = sum.covariance(a, b) / (u(a) * u(b));
        }
    }
    pair.budget = std::move(sum.lines);
    pair.chi_square = fit.chi_square;
    pair.degrees_of_freedom = fit.degrees_of_freedom;
    pair.fit_windows = fit.windows;
    pair.shape_described = shape.described;
    return pair;
}

}  // namespace coldtune::measure
