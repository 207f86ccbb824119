// The fit against the best that is possible: the Cramer-Rao bound, computed here from the circuit alone.
//
// No unbiased estimate has a smaller variance than the inverse of the Fisher matrix (C. R. Rao, Bull. Calcutta Math.
// Soc. 37 (1945) 81; H. Cramer, Mathematical Methods of Statistics, 1946; from memory). For complex data with circular
// noise of variance v = E|error|^2 the matrix is sum (2/v) Re(conj(dm/da) dm/db). The derivatives are taken numerically
// from the divider and the R-L-C elements; nothing of the code under test enters.
#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <cstdio>
#include <functional>
#include <string>
#include <vector>

#include "dsp/correction.hpp"
#include "dsp/resonance_fit.hpp"
#include "dsp/statistics.hpp"
#include "tests/dsp/synthetic_bench.hpp"

namespace {

using namespace coldtune::dsp;
using namespace coldtune::dsp::synthetic;

constexpr double normal_95 = 1.959963984540054;  // 97.5 % point of the normal distribution (any table)

struct Case {
    std::string name;
    ResonanceForm form = ResonanceForm::series;
    std::vector<double> truth;  // f0, Q, R, then the background elements
    double noise_rms = 0;
    double span_bandwidths = 0;  // half width of the data
    std::size_t bins = 0;
    unsigned seed = 0;

    [[nodiscard]] Complex ratio(const std::vector<double>& a, double f) const {
        const Divider divider;
        if (form == ResonanceForm::series) {
            return divider.ratio(SeriesBranch{a[0], a[1], a[2], a[3]}.admittance(f), f);
        }
        return divider.ratio(ParallelBranch{a[0], a[1], a[2], a[3], a[4]}.admittance(f), f);
    }
    [[nodiscard]] std::vector<double> grid() const {
        const double half = span_bandwidths / truth[1];
        const double root = std::sqrt(1 + half * half);
        return even_grid(truth[0] * (root - half), truth[0] * (root + half), bins);
    }
};

Eigen::MatrixXd cramer_rao(const Case& test) {
    const auto n = static_cast<Eigen::Index>(test.truth.size());
    Eigen::MatrixXd fisher = Eigen::MatrixXd::Zero(n, n);
    for (const double f : test.grid()) {
        Eigen::VectorXcd slope(n);
        for (Eigen::Index k = 0; k < n; ++k) {
            auto above = test.truth;
            auto below = test.truth;
            const auto at = static_cast<std::size_t>(k);
            // Error of a central difference: the square of the step in units of the curve's own scale, below 1e-7.
            const double step = test.truth[at] * (k == 0 ? 1e-4 / test.truth[1] : 1e-4);
            above[at] += step;
            below[at] -= step;
            slope(k) = (test.ratio(above, f) - test.ratio(below, f)) / (2 * step);
        }
        fisher += 2 / (test.noise_rms * test.noise_rms) * (slope.conjugate() * slope.transpose()).real();
    }
    // Scaled before the inversion: hertz and farad differ by many powers of ten.
    const Eigen::VectorXd scale = fisher.diagonal().cwiseSqrt().cwiseInverse();
    return scale.asDiagonal() * (scale.asDiagonal() * fisher * scale.asDiagonal()).inverse() * scale.asDiagonal();
}

class AgainstTheBound : public testing::TestWithParam<Case> {};

TEST_P(AgainstTheBound, VarianceAndCoverage) {
    const Case& test = GetParam();
    constexpr int runs = 1500;  // standard deviation of a variance ratio: sqrt(2/1500) = 3.7 %; of a coverage: 0.6 %
    RecordProperty("seed", static_cast<int>(test.seed));
    std::mt19937_64 random(test.seed);
    const Divider divider;
    const auto grid = test.grid();
    const Eigen::MatrixXd bound = cramer_rao(test);
    RunningMoments frequency, q, resistance;
    int frequency_covered = 0, q_covered = 0, resistance_covered = 0;
    double chi_square = 0, degrees = 0;
    for (int run = 0; run < runs; ++run) {
        const auto response = respond(
            grid, [&](double f) { return test.ratio(test.truth, f); }, test.noise_rms, random);
        const auto corrected = correct(response, {}, divider.declared());
        ASSERT_TRUE(corrected);
        const auto outcome = fit_resonance(*corrected, test.form);
        ASSERT_TRUE(std::holds_alternative<ResonanceFit>(outcome)) << std::get<NoFit>(outcome).sentence;
        const auto& fit = std::get<ResonanceFit>(outcome);
        frequency.add(fit.frequency_hz);
        q.add(fit.q);
        resistance.add(fit.resistance_ohm);
        frequency_covered +=
            std::abs(fit.frequency_hz - test.truth[0]) <= normal_95 * std::sqrt(fit.covariance(0, 0)) ? 1 : 0;
        q_covered += std::abs(fit.q - test.truth[1]) <= normal_95 * fit.q_u ? 1 : 0;
        resistance_covered += std::abs(fit.resistance_ohm - test.truth[2]) <= normal_95 * fit.resistance_u_ohm ? 1 : 0;
        chi_square += fit.chi_square;
        degrees += static_cast<double>(fit.degrees_of_freedom);
    }
    // Mean squared error about the truth, so that a bias cannot hide.
    const auto ratio_to_bound = [&](const RunningMoments& moments, Eigen::Index k) {
        const double bias = moments.mean() - test.truth[static_cast<std::size_t>(k)];
        return (*moments.variance() + bias * bias) / bound(k, k);
    };
    const double frequency_ratio = ratio_to_bound(frequency, 0);
    const double q_ratio = ratio_to_bound(q, 1);
    const double resistance_ratio = ratio_to_bound(resistance, 2);
    std::printf(
        "%s: seed %u, %d runs, mean squared error / bound: f0 %.3f, Q %.3f, R %.3f; 95 %% intervals hold: f0 "
        "%.2f %%, Q %.2f %%, R %.2f %%; chi square / degrees %.4f\n",
        test.name.c_str(), test.seed, runs, frequency_ratio, q_ratio, resistance_ratio,
        100.0 * frequency_covered / runs, 100.0 * q_covered / runs, 100.0 * resistance_covered / runs,
        chi_square / degrees);
    EXPECT_LE(frequency_ratio, 1.10);  // the requirement
    EXPECT_LE(q_ratio, 1.10);
    // Below the bound by more than sampling allows would mean that the bound or the noise is wrong: 3.5 standard
    // deviations of the variance ratio.
    EXPECT_GE(frequency_ratio, 0.87);
    EXPECT_GE(q_ratio, 0.87);
    for (const int covered : {frequency_covered, q_covered, resistance_covered}) {
        EXPECT_GE(covered, 0.93 * runs);  // the requirement, 3.5 standard deviations of the count
        EXPECT_LE(covered, 0.97 * runs);
    }
    // Mean of chi square per degree of freedom is 1; its sampling error here is below 0.2 %.
    EXPECT_NEAR(chi_square / degrees, 1, 0.01);
}

INSTANTIATE_TEST_SUITE_P(
    Resonance, AgainstTheBound,
    testing::Values(Case{"series Q 5", ResonanceForm::series, {40e3, 5, 2e3, 20e-12}, 1e-3, 4, 240, 11},
                    Case{"series Q 20", ResonanceForm::series, {12e3, 20, 5e3, 30e-12}, 3e-3, 6, 240, 12},
                    Case{"series Q 100", ResonanceForm::series, {60e3, 100, 1e3, 15e-12}, 1e-3, 12, 400, 13},
                    Case{"series Q 100 noisy", ResonanceForm::series, {60e3, 100, 1e3, 15e-12}, 2e-2, 10, 300, 14},
                    Case{"series Q 500", ResonanceForm::series, {80e3, 500, 800, 10e-12}, 1e-3, 8, 240, 15},
                    Case{"parallel Q 10", ResonanceForm::parallel, {30e3, 10, 20e3, 1e-3, 20}, 1e-3, 6, 240, 16},
                    Case{"parallel Q 200", ResonanceForm::parallel, {30e3, 200, 50e3, 1e-3, 20}, 1e-3, 8, 240, 17}),
    [](const testing::TestParamInfo<Case>& which) {
        std::string name = which.param.name;
        std::erase(name, ' ');
        return name;
    });

}  // namespace
