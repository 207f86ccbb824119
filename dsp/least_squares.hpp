// Nonlinear least squares with a typed reason for stopping, and a covariance that may be refused.
//
// A thin layer over a library's trust-region solver (Levenberg-Marquardt on the normal equations, dense). The caller
// scales: residuals in units of their own standard deviation, parameters dimensionless and of order one.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <functional>

#include "dsp/result.hpp"

namespace coldtune::dsp {

struct LeastSquaresProblem {
    Eigen::Index residuals = 0;   // >= parameters
    Eigen::Index parameters = 0;  // > 0
    // Fills residuals (length `residuals`) and, unless null, the Jacobian d residual / d parameter, column-major,
    // `residuals` rows by `parameters` columns. Must be a pure function of the parameters.
    std::function<void(const double* parameters, double* residuals, double* jacobian)> evaluate;
    // Optional, for many data: normal_sums() at these parameters, gathered without ever holding the whole Jacobian.
    std::function<Eigen::MatrixXd(const double* parameters)> sums = nullptr;
};

// [J r]^T [J r], `parameters` + 1 rows and columns: J^T J, J^T r and the sum of squares in one.
Eigen::MatrixXd normal_sums(const LeastSquaresProblem& problem, const double* parameters);

struct LeastSquaresOptions {
    int max_iterations = 80;
    int patient_iterations = 8;
    // Stop when |change of the sum of squares| < this. In units of chi square, so the default stops within 1e-5
    // standard deviations of the minimum. After `patient_iterations` it is taken times the sum of squares per degree of
    // freedom, where that exceeds one: where the model misses by many standard deviations the minimum is approached
    // slowly, and to know it better than the misfit allows serves nothing.
    double cost_tolerance = 1e-10;
    // Stop when |step| <= this * (|x| + this).
    double step_tolerance = 1e-11;
    // Stop when max |J^T r|, J with scaled columns, < this.
    double gradient_tolerance = 1e-12;
};

enum class StopReason {
    gradient_small,        // converged
    step_small,            // converged
    cost_change_small,     // converged
    cost_zero,             // converged: nothing left to explain
    iterations_exhausted,  // not converged; the best point so far is returned
    not_finite,            // not converged: residuals or parameters stopped being numbers
};

struct LeastSquaresSolution {
    Eigen::VectorXd parameters;
    double initial_chi_square = 0;  // sum of squared residuals at the start
    double chi_square = 0;          // and at the end
    int iterations = 0;
    StopReason reason = StopReason::iterations_exhausted;
    [[nodiscard]] bool converged() const noexcept {
        return reason != StopReason::iterations_exhausted && reason != StopReason::not_finite;
    }
};

// The same minimum by orthogonal factors instead of normal equations (MINPACK's Levenberg-Marquardt as Eigen carries
// it): slower for easy problems, but it keeps all digits where the weights of the residuals span many decades, a long
// narrow valley. Uses max_iterations; stops when the sum of squares changes by less than cost_tolerance relative, or a
// step by step_tolerance.
Result<LeastSquaresSolution> minimise_orthogonal(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                                                 const LeastSquaresOptions& options = {});

// Errors (bad_input): fewer residuals than parameters, a start of the wrong length, a start where the residuals are not
// finite.
Result<LeastSquaresSolution> minimise(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                                      const LeastSquaresOptions& options = {});

// (J^T J)^-1 at the solution: the covariance of the parameters to first order, under the assumptions that the residuals
// are independent, already divided by their true standard deviations, and that the model is linear over a few standard
// uncertainties. It is NOT scaled by chi square. Refused (error) where J has no full column rank: reciprocal condition
// of the column-scaled J below `rank_tolerance`; the data then say nothing about some combination of the parameters.
Result<Eigen::MatrixXd> covariance_at(const LeastSquaresProblem& problem, const Eigen::VectorXd& parameters,
                                      double rank_tolerance = 1e-10);

}  // namespace coldtune::dsp
