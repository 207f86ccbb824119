#include <Eigen/Core>
#include <cmath>
#include <unsupported/Eigen/NonLinearOptimization>

#include "dsp/least_squares.hpp"

namespace coldtune::dsp {
namespace {

struct Functor {
    using Scalar = double;
    using Index = Eigen::Index;
    using InputType = Eigen::VectorXd;
    using ValueType = Eigen::VectorXd;
    using JacobianType = Eigen::MatrixXd;
    enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };

    const LeastSquaresProblem* problem;

    [[nodiscard]] Index inputs() const { return problem->parameters; }
    [[nodiscard]] Index values() const { return problem->residuals; }
    int operator()(const InputType& x, ValueType& residuals) const {
        problem->evaluate(x.data(), residuals.data(), nullptr);
        return 0;
    }
    int df(const InputType& x, JacobianType& jacobian) const {
        ValueType residuals(problem->residuals);
        problem->evaluate(x.data(), residuals.data(), jacobian.data());
        return 0;
    }
};

StopReason reason_of(Eigen::LevenbergMarquardtSpace::Status status) {
    using namespace Eigen::LevenbergMarquardtSpace;
    switch (status) {
        case RelativeReductionTooSmall:
        case RelativeErrorAndReductionTooSmall:
        case FtolTooSmall:
            return StopReason::cost_change_small;
        case RelativeErrorTooSmall:
        case XtolTooSmall:
            return StopReason::step_small;
        case CosinusTooSmall:
        case GtolTooSmall:
            return StopReason::gradient_small;
        case NotStarted:
        case Running:
        case ImproperInputParameters:
        case TooManyFunctionEvaluation:
        case UserAsked:
            break;
    }
    return StopReason::iterations_exhausted;
}

}  // namespace

Result<LeastSquaresSolution> minimise_orthogonal(const LeastSquaresProblem& problem, const Eigen::VectorXd& start,
                                                 const LeastSquaresOptions& options) {
    if (problem.parameters < 1 || problem.residuals < problem.parameters || start.size() != problem.parameters) {
        return bad_input("the data cannot determine the parameters: give more data and one starting value each");
    }
    Eigen::VectorXd residuals(problem.residuals);
    problem.evaluate(start.data(), residuals.data(), nullptr);
    if (!residuals.allFinite()) return bad_input("the model is not finite at the starting values: start elsewhere");

    LeastSquaresSolution solution;
    solution.initial_chi_square = residuals.squaredNorm();
    solution.parameters = start;
    Functor functor{&problem};
    Eigen::LevenbergMarquardt<Functor> solver(functor);
    solver.parameters.maxfev = options.max_iterations;
    solver.parameters.ftol = options.cost_tolerance;
    solver.parameters.xtol = options.step_tolerance;
    solution.reason = reason_of(solver.minimize(solution.parameters));
    solution.iterations = static_cast<int>(solver.iter);
    solution.chi_square = solver.fnorm * solver.fnorm;
    if (!solution.parameters.allFinite() || !std::isfinite(solution.chi_square))
        solution.reason = StopReason::not_finite;
    return solution;
}

}  // namespace coldtune::dsp
