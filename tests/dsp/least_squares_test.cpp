#include "dsp/least_squares.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>

namespace {

using namespace coldtune;
using namespace coldtune::dsp;

// NIST Statistical Reference Datasets, Misra1a (dental research, monomolecular adsorption): y = b1 (1 - exp(-b2 x)).
// Data and certified values from memory.
constexpr std::array<double, 14> misra_y{10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02,
                                         44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};
constexpr std::array<double, 14> misra_x{77.6,  114.9, 141.1, 190.8, 239.9, 289.0, 332.8,
                                         378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0};

// Parameters in units of NIST's first start, (500, 1e-4).
LeastSquaresProblem misra() {
    LeastSquaresProblem problem;
    problem.residuals = 14;
    problem.parameters = 2;
    problem.evaluate = [](const double* p, double* residuals, double* jacobian) {
        for (std::size_t i = 0; i < 14; ++i) {
            const double decay = std::exp(-1e-4 * p[1] * misra_x[i]);
            residuals[i] = 500 * p[0] * (1 - decay) - misra_y[i];
            if (jacobian == nullptr) continue;
            jacobian[i] = 500 * (1 - decay);
            jacobian[14 + i] = 500 * p[0] * 1e-4 * misra_x[i] * decay;
        }
    };
    return problem;
}

TEST(LeastSquares, NistMisra1a) {
    const auto problem = misra();
    const auto solution = minimise(problem, Eigen::Vector2d(1, 1));
    ASSERT_TRUE(solution);
    EXPECT_TRUE(solution->converged());
    // Certified to 11 digits; the solver forms normal equations whose condition costs about half of the sixteen digits
    // of a double.
    EXPECT_NEAR(500 * solution->parameters(0) / 2.3894212918e2, 1, 1e-7);
    EXPECT_NEAR(1e-4 * solution->parameters(1) / 5.5015643181e-4, 1, 1e-7);
    EXPECT_NEAR(solution->chi_square / 1.2455138894e-1, 1, 1e-9);  // stationary: error is squared
    const auto covariance = covariance_at(problem, solution->parameters);
    ASSERT_TRUE(covariance);
    // NIST scales by the residual variance; the layer does not.
    const double variance = solution->chi_square / 12;
    EXPECT_NEAR(500 * std::sqrt((*covariance)(0, 0) * variance) / 2.7070075241, 1, 1e-6);
    EXPECT_NEAR(1e-4 * std::sqrt((*covariance)(1, 1) * variance) / 7.2668688436e-6, 1, 1e-6);
}

// The same certified values where the solver sees no rows but only their sums.
TEST(LeastSquares, NistMisra1aFromSumsAlone) {
    auto problem = misra();
    const auto rows = problem;
    problem.sums = [&rows](const double* p) { return normal_sums(rows, p); };
    problem.evaluate = nullptr;
    const auto solution = minimise(problem, Eigen::Vector2d(1, 1));
    ASSERT_TRUE(solution);
    EXPECT_TRUE(solution->converged());
    EXPECT_NEAR(500 * solution->parameters(0) / 2.3894212918e2, 1, 1e-7);  // as above
    EXPECT_NEAR(1e-4 * solution->parameters(1) / 5.5015643181e-4, 1, 1e-7);
    EXPECT_NEAR(solution->chi_square / 1.2455138894e-1, 1, 1e-9);
    EXPECT_FALSE(minimise(problem, Eigen::Vector2d(std::numeric_limits<double>::quiet_NaN(), 1)));
}

// Rosenbrock's valley, Computer J. 3 (1960) 175 (from memory): minimum 0 at (1, 1).
TEST(LeastSquares, RosenbrockValley) {
    LeastSquaresProblem problem;
    problem.residuals = 2;
    problem.parameters = 2;
    problem.evaluate = [](const double* p, double* residuals, double* jacobian) {
        residuals[0] = 10 * (p[1] - p[0] * p[0]);
        residuals[1] = 1 - p[0];
        if (jacobian == nullptr) return;
        jacobian[0] = -20 * p[0];
        jacobian[1] = -1;
        jacobian[2] = 10;
        jacobian[3] = 0;
    };
    const auto solution = minimise(problem, Eigen::Vector2d(-1.2, 1));
    ASSERT_TRUE(solution);
    EXPECT_TRUE(solution->converged());
    EXPECT_LT(solution->chi_square, 1e-10);  // the stated cost tolerance
    EXPECT_NEAR(solution->parameters(0), 1, 1e-5);
    EXPECT_NEAR(solution->parameters(1), 1, 2e-5);
    EXPECT_DOUBLE_EQ(solution->initial_chi_square, 24.2);  // 4.4^2 + 2.2^2
}

TEST(LeastSquares, SaysWhyItStopped) {
    LeastSquaresOptions options;
    options.max_iterations = 2;
    const auto stopped = minimise(misra(), Eigen::Vector2d(1, 1), options);
    ASSERT_TRUE(stopped);
    EXPECT_EQ(stopped->reason, StopReason::iterations_exhausted);
    EXPECT_FALSE(stopped->converged());

    LeastSquaresProblem exact;
    exact.residuals = 2;
    exact.parameters = 1;
    exact.evaluate = [](const double* p, double* residuals, double* jacobian) {
        residuals[0] = p[0] - 3;
        residuals[1] = 2 * (p[0] - 3);
        if (jacobian != nullptr) jacobian[0] = 1, jacobian[1] = 2;
    };
    const auto at_once = minimise(exact, Eigen::VectorXd::Constant(1, 3));
    ASSERT_TRUE(at_once);
    EXPECT_EQ(at_once->reason, StopReason::gradient_small);
    EXPECT_EQ(at_once->chi_square, 0);
}

TEST(LeastSquares, RefusesWhatCannotBeSolved) {
    auto problem = misra();
    problem.residuals = 1;
    EXPECT_FALSE(minimise(problem, Eigen::Vector2d(1, 1)));
    EXPECT_FALSE(minimise(misra(), Eigen::VectorXd::Ones(3)));
    EXPECT_FALSE(minimise(misra(), Eigen::Vector2d(std::numeric_limits<double>::quiet_NaN(), 1)));
}

TEST(LeastSquares, ModelThatStopsBeingANumberIsNoConvergence) {
    LeastSquaresProblem problem;
    problem.residuals = 2;
    problem.parameters = 1;
    problem.evaluate = [](const double* p, double* residuals, double* jacobian) {
        const bool first = p[0] == 1;
        residuals[0] = first ? 1.0 : std::numeric_limits<double>::quiet_NaN();
        residuals[1] = 1;
        if (jacobian != nullptr) jacobian[0] = 1, jacobian[1] = 1;
    };
    const auto solution = minimise(problem, Eigen::VectorXd::Ones(1));
    ASSERT_TRUE(solution);
    // Every step is turned down, so the start itself is what remains.
    EXPECT_EQ(solution->parameters(0), 1);
    EXPECT_FALSE(solution->converged() && solution->chi_square < 2);
}

TEST(LeastSquares, CovarianceRefusedWhereSingular) {
    LeastSquaresProblem problem;
    problem.residuals = 3;
    problem.parameters = 2;
    problem.evaluate = [](const double* p, double* residuals, double* jacobian) {
        for (int i = 0; i < 3; ++i) residuals[i] = (p[0] + 2 * p[1]) * (i + 1);
        if (jacobian == nullptr) return;
        for (int i = 0; i < 3; ++i) jacobian[i] = i + 1, jacobian[3 + i] = 2 * (i + 1);
    };
    const auto covariance = covariance_at(problem, Eigen::Vector2d(1, 1));
    ASSERT_FALSE(covariance);
    EXPECT_FALSE(covariance.error().message.empty());

    problem.evaluate = [](const double* p, double* residuals, double* jacobian) {
        for (int i = 0; i < 3; ++i) residuals[i] = p[0];
        if (jacobian == nullptr) return;
        for (int i = 0; i < 3; ++i) jacobian[i] = 1, jacobian[3 + i] = 0;
    };
    EXPECT_FALSE(covariance_at(problem, Eigen::Vector2d(1, 1)));
}

// A straight line at x = 0, 1, 2, 3 with unit weights: the textbook covariance (X^T X)^-1 by hand.
TEST(LeastSquares, CovarianceOfAStraightLine) {
    LeastSquaresProblem problem;
    problem.residuals = 4;
    problem.parameters = 2;
    problem.evaluate = [](const double* p, double* residuals, double* jacobian) {
        for (int i = 0; i < 4; ++i) residuals[i] = p[0] + p[1] * i;
        if (jacobian == nullptr) return;
        for (int i = 0; i < 4; ++i) jacobian[i] = 1, jacobian[4 + i] = i;
    };
    const auto covariance = covariance_at(problem, Eigen::Vector2d(0, 0));
    ASSERT_TRUE(covariance);
    // [4 6; 6 14]^-1 = [14 -6; -6 4] / 20; rounding only.
    EXPECT_NEAR((*covariance)(0, 0), 0.7, 1e-14);
    EXPECT_NEAR((*covariance)(0, 1), -0.3, 1e-14);
    EXPECT_NEAR((*covariance)(1, 1), 0.2, 1e-14);
}

}  // namespace
