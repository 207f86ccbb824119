#include "analyzer/measure/below_band.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "analyzer/measure/below_band_curve.hpp"
#include "analyzer/measure/below_band_strain.hpp"
#include "analyzer/measure/declared_values.hpp"
#include "analyzer/measure/loading_choice.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/least_squares.hpp"

namespace coldtune::measure {
namespace {

using namespace below;

constexpr double kFittedUpTo = 0.97;  // of the resonance
constexpr double kStrayAfterOpen_f = 1e-12;
// Chi square per degree of freedom beyond which scaling the noise no longer makes an honest interval: five standard
// deviations on average.
constexpr double kWorstMisfit = 25;
constexpr int kSurveyIterations = 40, kPatientIterations = 1000;

// `known`: the residuals of the prior rows.
BelowBandFit::Strain strain_of(const Problem& problem, const Eigen::VectorXd& x, const double* known) {
    const auto largest = [&](Eigen::Index first, Eigen::Index last) {
        double most = 0;
        for (Eigen::Index k = first; k < last; ++k) {
            if (std::abs(x[k]) > std::abs(most)) most = x[k];
        }
        return most;
    };
    BelowBandFit::Strain strain;
    strain.capacitance = known[0];
    strain.inductance = known[1];
    strain.shape = largest(kShapes, problem.parameters());
    strain.stray = x[kStray];
    strain.channels = largest(kConductance, kShapes);
    strain.loss = largest(kLoss, kStray);
    return strain;
}

// Neither the data nor what was known beforehand object: misfit as on every clean bench, priors as on 360 simulated
// ones (the largest there was 2.6).
bool at_ease(const Problem& problem, const dsp::LeastSquaresSolution& solution) {
    constexpr double kMisfitPerDegree = 0.8;
    constexpr double kPriorStrain = 2.6;
    std::vector<double> residual(static_cast<std::size_t>(problem.rows()));
    problem.evaluate(solution.parameters.data(), residual.data(), nullptr);
    const auto data = static_cast<std::size_t>(problem.data_rows());
    double chi = 0;
    for (std::size_t i = 0; i < data; ++i) chi += residual[i] * residual[i];
    return chi < kMisfitPerDegree * static_cast<double>(data) && std::abs(residual[data]) < kPriorStrain &&
           std::abs(residual[data + 1]) < kPriorStrain && std::abs(solution.parameters[kStray]) < kPriorStrain;
}

// The minimum. With a description that is far off there is a false one just above the band; only the sum of squares
// tells it from the true one, so unless the first is at ease all starts are tried and the lowest is taken.
std::optional<dsp::LeastSquaresSolution> follow_curve(const Problem& problem, const dsp::LeastSquaresProblem& lsq,
                                                      const Eigen::VectorXd& start) {
    // Weights of 1e5 on a nearly straight curve make a long narrow valley, hence the orthogonal solver.
    dsp::LeastSquaresOptions options;
    options.max_iterations = 300;
    options.cost_tolerance = 1e-8;
    options.step_tolerance = 1e-8;
    auto whole = dsp::minimise_orthogonal(lsq, start, options);
    if (whole && whole->converged() && at_ease(problem, *whole)) return std::move(*whole);

    // Far enough along each valley to tell which is the deepest, and that one to its end.
    dsp::LeastSquaresOptions survey = options;
    survey.max_iterations = kSurveyIterations;
    std::optional<dsp::LeastSquaresSolution> lowest;
    for (const double offset : {0.4, 1.0, 2.0, 4.0, 8.0}) {
        Eigen::VectorXd from = start;
        from[kResonance] += offset;
        auto solution = dsp::minimise_orthogonal(lsq, from, survey);
        if (!solution || solution->reason == dsp::StopReason::not_finite) continue;
        if (!lowest || solution->chi_square < lowest->chi_square) lowest = std::move(*solution);
    }
    std::optional<dsp::LeastSquaresSolution> best;
    if (whole && whole->converged()) best = std::move(*whole);
    if (lowest && (!best || lowest->chi_square < best->chi_square)) {
        options.max_iterations = kPatientIterations;
        auto polished = dsp::minimise_orthogonal(lsq, lowest->parameters, options);
        if (polished && polished->converged()) best = std::move(*polished);
    }
    return best;
}

}  // namespace

BelowBandOutcome find_below_band(const dsp::CorrectedResponse& data, const ShapeFamily& family,
                                 const dsp::BenchValues& bench, const BenchTolerances& tolerances,
                                 const std::optional<dsp::Band>& band) {
    if (data.frequency_hz.empty())
        return BelowBandRefusal{"the standards and the capture have no frequency in common; measure them alike"};
    const dsp::Band used = band.value_or(dsp::Band{data.frequency_hz.front(), data.frequency_hz.back()});
    Problem problem{family, pool(data, used, bench)};
    problem.edge_hz = used.high_hz;
    if (!data.used_open) {
        const double rectangular = 1 / std::sqrt(3.0);
        problem.reference_s = 1 / bench.reference_ohm;
        problem.input_f = bench.input_capacitance_f;
        problem.conductance_prior = rectangular * (tolerances.channel_gain_relative / bench.reference_ohm +
                                                   tolerances.input_capacitance_relative / bench.input_resistance_ohm);
        problem.edge_phase_rad = kEdgePhaseDeclared_rad;
        problem.susceptance_prior = rectangular * tolerances.channel_phase_rad / bench.reference_ohm;
    }
    problem.stray_prior_f = data.used_open
                                ? kStrayAfterOpen_f
                                : std::max(kStrayAfterOpen_f, tolerances.input_capacitance_relative *
                                                                  bench.input_capacitance_f / std::sqrt(3.0));
    problem.edge_gain = data.used_load ? kEdgeMeasured : kEdgeDeclared;
    if (!data.used_load) problem.reference_tau_s = bench.reference_ohm * kReferenceOwn_f / std::sqrt(3.0);
    if (problem.groups.size() < 20) {
        return BelowBandRefusal{"too few frequencies in the usable band to follow the curve; sweep a wider band"};
    }

    dsp::LeastSquaresProblem lsq;
    lsq.residuals = problem.rows();
    lsq.parameters = problem.parameters();
    lsq.evaluate = [&](const double* x, double* r, double* j) { problem.evaluate(x, r, j); };
    // Start from the static capacitance the low end shows; the resonance follows from the fit.
    Eigen::VectorXd start = Eigen::VectorXd::Zero(lsq.parameters);
    const Group& low = problem.groups[problem.groups.size() / 8];
    const double apparent = low.admittance.imag() / (2 * std::numbers::pi * low.frequency_hz);
    if (data.used_open && apparent > 0.3 * family.static_capacitance_f() &&
        apparent < 3 * family.static_capacitance_f()) {
        start[kCapacitance] = std::log(apparent / family.static_capacitance_f()) / kLogScale;
        start[kResonance] = -0.5 * start[kCapacitance];
    } else if (!data.used_open) {
        // Whatever is too much or too little lies in the cable.
        start[kStray] = (apparent - family.static_capacitance_f()) / problem.stray_prior_f;
    }
    // A start below the top of the band would put the model's resonance among data that show none.
    const double least = std::log(1.05 * used.high_hz / family.first_mode_hz()) / kLogScale;
    start[kResonance] = std::max(start[kResonance], least);

    const auto solution = follow_curve(problem, lsq, start);
    if (!solution) {
        return BelowBandRefusal{
            "the coil's curve cannot be followed by the calculated one; check the description and the wiring"};
    }
    const Eigen::VectorXd& x = solution->parameters;
    const double first_hz = zero_reactance_hz(problem, x.data());

    // Posterior covariance and each row's share of the resonance's variance: the estimate is linear in data and priors,
    // so the squares of its row weights add up to the whole.
    std::vector<double> residual(static_cast<std::size_t>(problem.rows()));
    Eigen::MatrixXd j(problem.rows(), problem.parameters());
    problem.evaluate(x.data(), residual.data(), j.data());
    Eigen::VectorXd pick = Eigen::VectorXd::Zero(problem.parameters());
    pick[kResonance] = 1;
    for (const Eigen::Index k : {kLoss, kLossSlope}) {
        constexpr double kStep = 0.05;  // of parameters of order one; the effect is itself a small one
        Eigen::VectorXd more = x, less = x;
        more[k] += kStep;
        less[k] -= kStep;
        pick[k] = std::log(zero_reactance_hz(problem, more.data()) / zero_reactance_hz(problem, less.data())) /
                  (2 * kStep * kLogScale);
    }
    // J (J^T J)^-1 pick through J = QR, which keeps the digits that J^T J would lose.
    const Eigen::HouseholderQR<Eigen::MatrixXd> qr(j);
    Eigen::VectorXd weights = Eigen::VectorXd::Zero(problem.rows());
    weights.head(problem.parameters()) =
        qr.matrixQR().topRows(problem.parameters()).triangularView<Eigen::Upper>().transpose().solve(pick);
    weights.applyOnTheLeft(qr.householderQ());
    const Eigen::Index rows = problem.data_rows();
    double chi = 0;
    for (Eigen::Index i = 0; i < rows; ++i)
        chi += residual[static_cast<std::size_t>(i)] * residual[static_cast<std::size_t>(i)];
    const auto freedom = static_cast<std::size_t>(std::max<Eigen::Index>(1, rows - problem.parameters()));
    const double misfit = std::max(1.0, chi / static_cast<double>(freedom));
    if (misfit > kWorstMisfit) {
        return BelowBandRefusal{
            "the curve is not that of the described coil on the declared bench; check the description, the hookup and "
            "the "
            "reference resistor, and measure the open standard"};
    }

    BelowBandFit fit;
    Resonance& r = fit.resonance;
    r.way = Way::below_band;
    r.frequency_hz = first_hz;
    r.chi_square = chi;
    r.degrees_of_freedom = freedom;
    r.fit_window = used;
    const auto line = [&](const std::string& name, double variance) {
        r.budget.push_back({name, first_hz * kLogScale * std::sqrt(variance), 0, 0});
    };
    line("noise", weights.head(rows).squaredNorm() * misfit);
    const auto prior = weights.tail(problem.parameters());
    line("stray at the foot", prior[kStray] * prior[kStray]);
    line("described capacitance", prior[0] * prior[0]);
    line("described inductance", prior[1] * prior[1]);
    const auto share = [&](Eigen::Index k) { return prior[k] * prior[k]; };
    line("loss", share(kLoss) + share(kLossSlope) + share(kTangent));
    double channels = share(kConductance) + share(kSusceptance);
    for (Eigen::Index k = kEdge; k < kShapes; ++k) channels += share(k);
    line("channel match", channels);
    line("reference resistor's capacitance", share(kOwn));
    for (std::size_t k = 0; k < family.names().size(); ++k) {
        line("shape: " + family.names()[k], share(kShapes + static_cast<Eigen::Index>(k)));
    }
    r.budget.push_back({"clock", first_hz * tolerances.clock_ppm * 1e-6 / std::sqrt(3.0), 0, 0});
    fit.used_open = data.used_open;
    fit.strain = strain_of(problem, x, residual.data() + rows);
    double variance = 0;
    for (const BudgetLine& b : r.budget) variance += b.frequency_u_hz * b.frequency_u_hz;
    if (const double factor = widening(fit.strain); factor > 1) {
        r.budget.push_back({"strained description", std::sqrt((factor * factor - 1) * variance), 0, 0});
        variance *= factor * factor;
    }
    r.frequency_u95_hz = 2 * std::sqrt(variance);
    fit.static_capacitance_f = family.static_capacitance_f() * std::exp(kLogScale * x[kCapacitance]);
    fit.capacitance_ratio = std::exp(kLogScale * x[kCapacitance]);
    fit.inductance_ratio = std::exp(kLogScale * (-2 * x[kResonance] - x[kCapacitance]));
    fit.stray_f = problem.stray_prior_f * x[kStray];
    fit.fitted = fitted_curve(problem, x.data(), problem.groups.front().frequency_hz, kFittedUpTo * first_hz);

    const double prior_relative = 0.5 * std::hypot(family.capacitance_prior(), family.inductance_prior());
    const bool learned = r.frequency_u95_hz < 2 * 0.7 * prior_relative * first_hz;
    if (first_hz > kBelowBandReach * used.high_hz || !learned) {
        const std::string capacitors = in_words(loading_choices(family.member(0), used));
        return BelowBandRefusal{fmt::format(
            "the resonance lies too far above the usable band ({}) for the curve below it to tell where ({}); use an "
            "interface with a higher rate, {}load the head with known capacitors (coldtune loading){}",
            record::hertz_text(used.high_hz, 3),
            learned ? fmt::format("more than {} times its upper edge", kBelowBandReach)
                    : std::string("the curve narrows the calculated value hardly at all"),
            data.used_open ? "or " : "measure the open standard, or ",
            capacitors.empty() ? "" : fmt::format(", for this coil {}", capacitors))};
    }
    return fit;
}

}  // namespace coldtune::measure
