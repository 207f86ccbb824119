#include "dsp/least_squares.hpp"

#include <ceres/tiny_solver.h>
#include <fmt/format.h>

#include <Eigen/Eigenvalues>
#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>

namespace coldtune::dsp {
namespace {

// The solver's view of a problem.
struct Cost {
    using Scalar = double;
    enum { NUM_RESIDUALS = Eigen::Dynamic, NUM_PARAMETERS = Eigen::Dynamic };
    const LeastSquaresProblem* problem;

    [[nodiscard]] int NumResiduals() const { return static_cast<int>(problem->residuals); }
    [[nodiscard]] int NumParameters() const { return static_cast<int>(problem->parameters); }
    [[nodiscard]] bool finite_at(const double* parameters) const {
        Eigen::VectorXd residuals(problem->residuals);
        problem->evaluate(parameters, residuals.data(), nullptr);
        return residuals.allFinite();
    }
    bool operator()(const double* parameters, double* residuals, double* jacobian) const {
        problem->evaluate(parameters, residuals, jacobian);
        return true;
    }
};

// The same step to the solver in as many rows as it has parameters and one more: any rows with the same normal sums do,
// and these are the square root of the sums. What is at a point is kept, because an accepted step is asked for twice.
struct ReducedCost {
    using Scalar = double;
    enum { NUM_RESIDUALS = Eigen::Dynamic, NUM_PARAMETERS = Eigen::Dynamic };
    const LeastSquaresProblem* problem;
    struct At {
        Eigen::VectorXd parameters;
        Eigen::MatrixXd sums;
    };
    std::shared_ptr<At> latest = std::make_shared<At>();

    [[nodiscard]] int NumResiduals() const { return static_cast<int>(problem->parameters) + 1; }
    [[nodiscard]] int NumParameters() const { return static_cast<int>(problem->parameters); }
    [[nodiscard]] const Eigen::MatrixXd& sums_at(const double* parameters) const {
        const Eigen::Map<const Eigen::VectorXd> at(parameters, problem->parameters);
        if (latest->sums.size() == 0 || latest->parameters != at) {
            latest->sums = normal_sums(*problem, parameters);
            latest->parameters = at;
        }
        return latest->sums;
    }
    [[nodiscard]] bool finite_at(const double* parameters) const { return sums_at(parameters).allFinite(); }
    bool operator()(const double* parameters, double* residuals, double* jacobian) const {
        const Eigen::Index p = problem->parameters;
        const Eigen::MatrixXd& sums = sums_at(parameters);
        Eigen::Map<Eigen::VectorXd> out(residuals, p + 1);
        if (jacobian == nullptr) {
            out.setZero();
            out(p) = std::sqrt(sums(p, p));
            return true;
        }
        // By eigenvalues, which find a root of sums that are singular to rounding as well; of columns of equal length,
        // so that none drowns in the rounding of another.
        const Eigen::VectorXd length = sums.diagonal().cwiseSqrt().cwiseMax(std::numeric_limits<double>::min());
        const Eigen::VectorXd shorter = length.cwiseInverse();
        const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> parts(shorter.asDiagonal() * sums * shorter.asDiagonal());
        const Eigen::MatrixXd root = parts.eigenvalues().cwiseMax(0.0).cwiseSqrt().asDiagonal() *
                                     parts.eigenvectors().transpose() * length.asDiagonal();
        out = root.col(p);
        Eigen::Map<Eigen::MatrixXd>(jacobian, p + 1, p) = root.leftCols(p);
        return true;
    }
};

template <typename Solver>
StopReason reason_of(typename Solver::Status status) {
    switch (status) {
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

template <typename Problem>
Result<LeastSquaresSolution> solved(const Problem& cost, const Eigen::VectorXd& start,
                                    const LeastSquaresOptions& options) {
    if (!cost.finite_at(start.data()))
        return bad_input("the model is not finite at the starting values: start elsewhere");
    using Solver = ceres::TinySolver<Problem>;
    Solver solver;
    solver.options.max_num_iterations = std::min(options.max_iterations, options.patient_iterations);
    solver.options.gradient_tolerance = options.gradient_tolerance;
    solver.options.parameter_tolerance = options.step_tolerance;
    solver.options.function_tolerance = options.cost_tolerance;

    LeastSquaresSolution solution;
    solution.parameters = start;
    const auto& summary = solver.Solve(cost, &solution.parameters);
    solution.initial_chi_square = 2 * summary.initial_cost;
    int before = 0;
    if (summary.status == Solver::HIT_MAX_ITERATIONS && options.max_iterations > options.patient_iterations) {
        before = summary.iterations;
        const auto freedom =
            static_cast<double>(std::max<Eigen::Index>(1, cost.problem->residuals - cost.problem->parameters));
        solver.options.function_tolerance *= std::max(1.0, 2 * summary.final_cost / freedom);
        solver.options.max_num_iterations = options.max_iterations - options.patient_iterations;
        solver.Solve(cost, &solution.parameters);
    }
    solution.chi_square = 2 * summary.final_cost;
    solution.iterations = before + summary.iterations;
    solution.reason = reason_of<Solver>(summary.status);
    if (!solution.parameters.allFinite() || !std::isfinite(solution.chi_square)) {
        solution.reason = StopReason::not_finite;
    }
    return solution;
}

}  // namespace

Eigen::MatrixXd normal_sums(const LeastSquaresProblem& problem, const double* parameters) {
    if (problem.sums) return problem.sums(parameters);
    const Eigen::Index p = problem.parameters;
    Eigen::MatrixXd rows(problem.residuals, p + 1);
    problem.evaluate(parameters, rows.col(p).data(), rows.data());
    return rows.transpose() * rows;
}

Result<LeastSquaresSolution> minimise(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                                      const LeastSquaresOptions& options) {
    if (const auto status = check(problem, start); !status) return status.error();
    return problem.sums ? solved(ReducedCost{&problem}, start, options) : solved(Cost{&problem}, start, options);
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
