#include "dsp/least_squares.hpp"

#include <ceres/tiny_solver.h>
#include <fmt/format.h>

#include <Eigen/QR>
#include <algorithm>
#include <cmath>

namespace coldtune::dsp {
namespace {

// The solver's view of a problem.
struct Cost {
    using Scalar = double;
    enum { NUM_RESIDUALS = Eigen::Dynamic, NUM_PARAMETERS = Eigen::Dynamic };
    const LeastSquaresProblem* problem;

    [[nodiscard]] int NumResiduals() const { return static_cast<int>(problem->residuals); }
    [[nodiscard]] int NumParameters() const { return static_cast<int>(problem->parameters); }
    bool operator()(const double* parameters, double* residuals, double* jacobian) const {
        problem->evaluate(parameters, residuals, jacobian);
        return true;
    }
};

using Solver = ceres::TinySolver<Cost>;

StopReason reason_of(const Solver::Summary& summary) {
    switch (summary.status) {
        case Solver::GRADIENT_TOO_SMALL:
            return StopReason::gradient_small;
        case Solver::RELATIVE_STEP_SIZE_TOO_SMALL:
            return StopReason::step_small;
        case Solver::COST_TOO_SMALL:
            return StopReason::cost_zero;
        case Solver::COST_CHANGE_TOO_SMALL:
            return StopReason::cost_change_small;
        case Solver::HIT_MAX_ITERATIONS:
            break;
    }
    return StopReason::iterations_exhausted;
}

Status check(const LeastSquaresProblem& problem, const Eigen::VectorXd& at) {
    if (problem.parameters < 1 || problem.residuals < problem.parameters) {
        return bad_input(fmt::format("{} data cannot determine {} parameters: give more data", problem.residuals,
                                     problem.parameters));
    }
    if (at.size() != problem.parameters) {
        return bad_input(
            fmt::format("{} starting values for {} parameters: give one each", at.size(), problem.parameters));
    }
    return Done{};
}

}  // namespace

Result<LeastSquaresSolution> minimise(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                                      const LeastSquaresOptions& options) {
    if (const auto status = check(problem, start); !status) return status.error();
    Eigen::VectorXd residuals(problem.residuals);
    problem.evaluate(start.data(), residuals.data(), nullptr);
    if (!residuals.allFinite()) {
        return bad_input("the model is not finite at the starting values: start elsewhere");
    }
    Solver solver;
    solver.options.max_num_iterations = std::min(options.max_iterations, options.patient_iterations);
    solver.options.gradient_tolerance = options.gradient_tolerance;
    solver.options.parameter_tolerance = options.step_tolerance;
    solver.options.function_tolerance = options.cost_tolerance;

    LeastSquaresSolution solution;
    solution.parameters = start;
    const auto& summary = solver.Solve(Cost{&problem}, &solution.parameters);
    solution.initial_chi_square = 2 * summary.initial_cost;
    int before = 0;
    if (summary.status == Solver::HIT_MAX_ITERATIONS && options.max_iterations > options.patient_iterations) {
        before = summary.iterations;
        const auto freedom = static_cast<double>(std::max<Eigen::Index>(1, problem.residuals - problem.parameters));
        solver.options.function_tolerance *= std::max(1.0, 2 * summary.final_cost / freedom);
        solver.options.max_num_iterations = options.max_iterations - options.patient_iterations;
        solver.Solve(Cost{&problem}, &solution.parameters);
    }
    solution.chi_square = 2 * summary.final_cost;
    solution.iterations = before + summary.iterations;
    solution.reason = reason_of(summary);
    if (!solution.parameters.allFinite() || !std::isfinite(solution.chi_square)) {
        solution.reason = StopReason::not_finite;
    }
    return solution;
}

Result<Eigen::MatrixXd> covariance_at(const LeastSquaresProblem& problem, const Eigen::VectorXd& parameters,
                                      double rank_tolerance) {
    if (const auto status = check(problem, parameters); !status) return status.error();
    Eigen::VectorXd residuals(problem.residuals);
    Eigen::MatrixXd jacobian(problem.residuals, problem.parameters);
    problem.evaluate(parameters.data(), residuals.data(), jacobian.data());
    const Eigen::VectorXd length = jacobian.colwise().norm();
    if (!jacobian.allFinite() || !(length.minCoeff() > 0)) {
        return bad_input("a parameter moves no datum: the data do not determine it");
    }
    const Eigen::MatrixXd scaled = jacobian * length.cwiseInverse().asDiagonal();
    const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(scaled);
    const Eigen::MatrixXd r = qr.matrixR().topRows(problem.parameters).triangularView<Eigen::Upper>();
    const double weakest = std::abs(r(problem.parameters - 1, problem.parameters - 1));
    if (!(weakest > rank_tolerance * std::abs(r(0, 0)))) {
        return bad_input("the data do not determine all parameters apart from each other: fit fewer");
    }
    const Eigen::MatrixXd inverse =
        r.triangularView<Eigen::Upper>().solve(Eigen::MatrixXd::Identity(problem.parameters, problem.parameters));
    // scaled = Q R P^T, hence (scaled^T scaled)^-1 = P R^-1 R^-T P^T, and the column lengths come back last.
    const Eigen::MatrixXd unscaled = length.cwiseInverse().asDiagonal() * (qr.colsPermutation() * inverse);
    return Eigen::MatrixXd(unscaled * unscaled.transpose());
}

}  // namespace coldtune::dsp
