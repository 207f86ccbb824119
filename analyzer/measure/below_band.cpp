#include "analyzer/measure/below_band.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <numbers>
#include <optional>

#include "analyzer/measure/below_band_strain.hpp"
#include "analyzer/measure/declared_values.hpp"
#include "analyzer/measure/loading_choice.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/least_squares.hpp"

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;

constexpr double kGroups = 100;  // the curve is smooth; more points would add nothing but time
constexpr std::size_t kFittedPoints = 400;
constexpr double kFittedUpTo = 0.97;  // of the resonance
constexpr double kNarrowest = 0.05;   // relative width of the groups at the low end

// One pooled stretch of the corrected admittance.
struct Group {
    double frequency_hz = 0;
    Complex admittance;
    double imaginary_sigma = 0, real_sigma = 0;
};

// What nothing else models: converters' and resistor's residual errors. As relative standard uncertainties of the
// admittance.
constexpr double kSmoothError = 2e-5;        // of the susceptance, bin to bin
constexpr double kPhaseMeasured_rad = 5e-4;  // conductance leaking from the susceptance, load standard used
constexpr double kPhaseDeclared_rad = 3e-3;  // the same, not used
// Difference of the inputs' responses at the band edge, one parameter for each power of frequency: analogue filters far
// above the band (2), and what is left of steep ones close to the edge, which converters of one interface have alike
// because they are digital. Common practice, no source. With the load standard: what moves between two captures.
constexpr std::array<double, 2> kEdgePowers{2, 12};
constexpr std::array<double, 2> kEdgeMeasured{1e-5, 3e-5};
constexpr std::array<double, 2> kEdgeDeclared{4e-4, 1e-3};
constexpr double kLossPrior = 1.0;          // ln of resistance over copper: a factor of e either way
constexpr double kLossSlopePrior = 0.7;     // power of frequency beyond skin effect: proximity, lossy floor
constexpr double kLossTangentPrior = 0.01;  // former, floor
constexpr double kStrayAfterOpen_f = 1e-12;
// Chi square per degree of freedom beyond which scaling the noise no longer makes an honest interval: five standard
// deviations on average.
constexpr double kWorstMisfit = 25;
constexpr int kSurveyIterations = 40, kPatientIterations = 1000;

std::vector<Group> pool(const dsp::CorrectedResponse& data, const dsp::Band& band, const dsp::BenchValues& bench) {
    // Capacitance beside the coil that the errors act on too.
    const double beside_f = data.used_open ? 0.0 : bench.input_capacitance_f;
    const double phase_rad = data.used_load ? kPhaseMeasured_rad : kPhaseDeclared_rad;
    std::vector<Group> groups;
    std::size_t first = 0, last = data.frequency_hz.size();
    while (first < last && data.frequency_hz[first] < band.low_hz) ++first;
    while (last > first && data.frequency_hz[last - 1] > band.high_hz) --last;
    if (first == last) return groups;
    const double widest_hz = (data.frequency_hz[last - 1] - data.frequency_hz[first]) / kGroups;
    for (std::size_t begin = first, end = first; begin < last; begin = end) {
        // Narrow at the low end, where what is left of the inputs falls as 1/f.
        const double edge_hz = data.frequency_hz[begin] + std::min(widest_hz, kNarrowest * data.frequency_hz[begin]);
        while (end < last && (end == begin || data.frequency_hz[end] < edge_hz)) ++end;
        // Pooled as elastance (jw/Y) against f^2, in which a single resonance is a straight line: pooling does not bend
        // it, not even close to the resonance.
        double weight = 0, f_squared = 0;
        Complex elastance = 0;
        for (std::size_t k = begin; k < end; ++k) {
            const double f = data.frequency_hz[k];
            const double omega = 2 * std::numbers::pi * f;
            const double variance = data.impedance_variance[k] * omega * omega;
            const Complex value = Complex(0, omega) * data.impedance[k];
            const double w = variance > 0 ? 1 / variance : 1e40;
            if (!std::isfinite(w) || !std::isfinite(std::abs(value))) continue;
            weight += w;
            f_squared += w * f * f;
            elastance += w * value;
        }
        if (!(weight > 0) || std::abs(elastance) == 0) continue;
        Group group;
        group.frequency_hz = std::sqrt(f_squared / weight);
        const double omega = 2 * std::numbers::pi * group.frequency_hz;
        elastance /= weight;
        group.admittance = Complex(0, omega) / elastance;
        const double noise = omega * std::sqrt(0.5 / weight) / std::norm(elastance);
        const double size = std::abs(group.admittance) + omega * beside_f;
        group.imaginary_sigma = std::hypot(noise, kSmoothError * size);
        group.real_sigma = std::hypot(noise, phase_rad * size);
        groups.push_back(group);
    }
    return groups;
}

// Parameters, in order; all dimensionless and of order one.
enum Index : Eigen::Index {
    kCapacitance,
    kResonance,
    kLoss,
    kLossSlope,
    kStray,
    kTangent,
    kConductance,
    kSusceptance,
    kOwn,  // capacitance of the reference resistor
    kEdge,
    kShapes = kEdge + static_cast<Eigen::Index>(kEdgePowers.size())
};
constexpr double kLogScale = 0.1;  // of the first two

struct Problem {
    const ShapeFamily& family;
    std::vector<Group> groups;
    double stray_prior_f = 0;
    std::array<double, 2> edge_gain{};  // standard uncertainties
    double edge_hz = 0;
    // What gains and phases that differ leave over when no open standard took it out: constant admittances, S.
    double conductance_prior = 0;
    double susceptance_prior = 0;
    // What the inputs' difference acts on besides the coil while no open standard took it out: 1 / reference and the
    // declared input capacitance.
    double reference_s = 0;
    double input_f = 0;
    // Reference resistor times the capacitance it may have of its own, while no load standard took it out.
    double reference_tau_s = 0;
    // What that capacitance carries is taken for the coil's: y / (1 + j omega R C).
    [[nodiscard]] Complex turn(const double* x, const Group& g) const {
        return 1.0 / Complex(1, 2 * std::numbers::pi * g.frequency_hz * reference_tau_s * x[kOwn]);
    }
    [[nodiscard]] Complex input(const Group& g) const { return {0, 2 * std::numbers::pi * g.frequency_hz * input_f}; }
    // The factor on the coil's own admittance.
    [[nodiscard]] Complex bent(const double* x, const Group& g) const { return (1 + edge(x, g)) * turn(x, g); }
    [[nodiscard]] Complex beside(const Group& g) const {
        return {reference_s, 2 * std::numbers::pi * g.frequency_hz * input_f};
    }

    [[nodiscard]] Eigen::Index parameters() const { return kShapes + static_cast<Eigen::Index>(family.names().size()); }
    [[nodiscard]] Eigen::Index data_rows() const { return 2 * static_cast<Eigen::Index>(groups.size()); }
    // One prior row each for capacitance, inductance, stray, loss, tangent, edge and the shapes.
    [[nodiscard]] Eigen::Index rows() const { return data_rows() + parameters(); }

    // Everything of the model that depends on the three parameters it is not linear in, at every group.
    struct Members {
        std::vector<std::vector<Complex>> at;  // [group][member]
    };

    [[nodiscard]] double resistance(const double* x, const Group& g) const {
        return std::exp(kLossPrior * x[kLoss]) * std::pow(g.frequency_hz / edge_hz, kLossSlopePrior * x[kLossSlope]);
    }

    [[nodiscard]] Complex described(const double* x, const Group& g, double resistance_factor) const {
        return family.described(g.frequency_hz, kLogScale * x[kCapacitance], kLogScale * x[kResonance],
                                resistance_factor);
    }

    // p: capacitance, resonance, loss, slope of the loss: the first parameters, in their order.
    [[nodiscard]] Members members(const double* p) const {
        Members m;
        m.at.resize(groups.size());
        for (std::size_t i = 0; i < groups.size(); ++i) {
            family.evaluate(groups[i].frequency_hz, kLogScale * p[kCapacitance], kLogScale * p[kResonance],
                            resistance(p, groups[i]), m.at[i]);
        }
        return m;
    }

    // Relative difference of the inputs at this frequency per unit of each parameter, and as the parameters have it.
    [[nodiscard]] double edge_per_unit(std::size_t k, const Group& g) const {
        return edge_gain[k] * std::pow(g.frequency_hz / edge_hz, kEdgePowers[k]);
    }
    [[nodiscard]] double edge(const double* x, const Group& g) const {
        double sum = 0;
        for (std::size_t k = 0; k < kEdgePowers.size(); ++k) {
            sum += edge_per_unit(k, g) * x[kEdge + static_cast<Eigen::Index>(k)];
        }
        return sum;
    }
    [[nodiscard]] static double tangent_admittance(const Group& g, double coil_farad) {
        return 2 * std::numbers::pi * g.frequency_hz * coil_farad * kLossTangentPrior;
    }
    [[nodiscard]] double coil_farad(double capacitance) const {
        return family.static_capacitance_f() * std::exp(kLogScale * capacitance);
    }

    [[nodiscard]] Complex model(const double* x, double capacitance, const Group& g,
                                const std::vector<Complex>& y_of) const {
        Complex y = y_of[0];
        for (std::size_t k = 1; k < y_of.size(); ++k) y += x[kShapes + static_cast<Eigen::Index>(k) - 1] * y_of[k];
        y += tangent_admittance(g, coil_farad(capacitance)) * x[kTangent];
        y = (y + input(g)) * turn(x, g) - input(g);
        y += edge(x, g) * (y + beside(g));
        return y + Complex(conductance_prior * x[kConductance],
                           susceptance_prior * x[kSusceptance] +
                               2 * std::numbers::pi * g.frequency_hz * stray_prior_f * x[kStray]);
    }

    // Columns of the parameters the model is not linear in. Two are differenced (central, step 1e-5 on parameters of
    // order one and a smooth model: error about 1e-10); the others follow, since raising every capacitance by e^a at a
    // fixed resonance raises the admittance of the coil by e^a and its resistance against its impedance level by as
    // much.
    void differentiate_curve(const double* x, const Members& here, double* jacobian) const {
        constexpr double kStep = 1e-5;
        double p[kLossSlope + 1];
        std::copy(x, x + kLossSlope + 1, p);
        p[kResonance] = x[kResonance] + kStep;
        const Members higher = members(p);
        p[kResonance] = x[kResonance] - kStep;
        const Members lower = members(p);
        const double farad = coil_farad(x[kCapacitance]);
        for (std::size_t i = 0; i < groups.size(); ++i) {
            const Group& g = groups[i];
            const Complex factor = bent(x, g);
            const auto column = [&](Eigen::Index k) { return jacobian + k * rows(); };
            store(
                column(kResonance), i, g,
                (model(x, x[kCapacitance], g, higher.at[i]) - model(x, x[kCapacitance], g, lower.at[i])) / (2 * kStep));
            // d / d ln(resistance), of the described shape only: the others are taken free of loss.
            const double r = resistance(x, g);
            const Complex loss =
                (described(x, g, r * std::exp(kStep)) - described(x, g, r * std::exp(-kStep))) / (2 * kStep) * factor;
            store(column(kLoss), i, g, kLossPrior * loss);
            store(column(kLossSlope), i, g, kLossSlopePrior * std::log(g.frequency_hz / edge_hz) * loss);
            Complex coil = here.at[i][0] + tangent_admittance(g, farad) * x[kTangent];
            for (std::size_t k = 1; k < here.at[i].size(); ++k) {
                coil += x[kShapes + static_cast<Eigen::Index>(k) - 1] * here.at[i][k];
            }
            store(column(kCapacitance), i, g, kLogScale * (coil * factor + loss));
        }
    }

    static void store(double* column, std::size_t i, const Group& g, Complex value) {
        column[2 * i] = value.imag() / g.imaginary_sigma;
        column[2 * i + 1] = value.real() / g.real_sigma;
    }

    void evaluate(const double* x, double* r, double* jacobian) const {
        const Members here = members(x);
        for (std::size_t i = 0; i < groups.size(); ++i) {
            store(r, i, groups[i], model(x, x[kCapacitance], groups[i], here.at[i]) - groups[i].admittance);
        }
        double* prior = r + data_rows();
        prior[0] = kLogScale * x[kCapacitance] / family.capacitance_prior();
        prior[1] = kLogScale * (-2 * x[kResonance] - x[kCapacitance]) / family.inductance_prior();
        for (Eigen::Index k = kLoss; k < parameters(); ++k) prior[k] = x[k];
        if (jacobian == nullptr) return;

        std::fill(jacobian, jacobian + rows() * parameters(), 0.0);
        const auto column = [&](Eigen::Index k) { return jacobian + k * rows(); };
        differentiate_curve(x, here, jacobian);
        for (std::size_t i = 0; i < groups.size(); ++i) {
            const Group& g = groups[i];
            const Complex factor = bent(x, g);
            const Complex stray(0, 2 * std::numbers::pi * g.frequency_hz * stray_prior_f);
            const Complex constants =
                stray * x[kStray] + Complex(conductance_prior * x[kConductance], susceptance_prior * x[kSusceptance]);
            const Complex bent_whole = model(x, x[kCapacitance], g, here.at[i]) - constants;
            store(column(kStray), i, g, stray);
            store(column(kConductance), i, g, conductance_prior);
            store(column(kSusceptance), i, g, Complex(0, susceptance_prior));
            store(column(kTangent), i, g, tangent_admittance(g, coil_farad(x[kCapacitance])) * factor);
            const Complex straight = (bent_whole + beside(g)) / (1 + edge(x, g));
            // d turn = -j omega tau turn^2, on the coil and the input.
            const Complex turned = (straight - beside(g) + input(g)) * turn(x, g) * (1 + edge(x, g));
            store(column(kOwn), i, g, Complex(0, -2 * std::numbers::pi * g.frequency_hz * reference_tau_s) * turned);
            for (std::size_t k = 0; k < kEdgePowers.size(); ++k) {
                store(column(kEdge + static_cast<Eigen::Index>(k)), i, g, edge_per_unit(k, g) * straight);
            }
            for (std::size_t k = 1; k < here.at[i].size(); ++k) {
                store(column(kShapes + static_cast<Eigen::Index>(k) - 1), i, g, here.at[i][k] * factor);
            }
        }
        column(kCapacitance)[data_rows()] = kLogScale / family.capacitance_prior();
        column(kCapacitance)[data_rows() + 1] = -kLogScale / family.inductance_prior();
        column(kResonance)[data_rows() + 1] = -2 * kLogScale / family.inductance_prior();
        for (Eigen::Index k = kLoss; k < parameters(); ++k) column(k)[data_rows() + k] = 1;
    }
};

// The coil's own admittance as fitted, with what stray is left beside it.
Curve fitted_curve(Problem problem, const double* x, double from_hz, double to_hz) {
    problem.groups.clear();
    for (std::size_t i = 0; i < kFittedPoints; ++i) {
        const double share = static_cast<double>(i) / static_cast<double>(kFittedPoints - 1);
        Group g;
        g.frequency_hz = from_hz * std::pow(to_hz / from_hz, share);
        problem.groups.push_back(g);
    }
    const Problem::Members members = problem.members(x);
    Curve curve;
    for (std::size_t i = 0; i < problem.groups.size(); ++i) {
        const Group& g = problem.groups[i];
        const auto& at = members.at[i];
        Complex admittance = at[0] + Problem::tangent_admittance(g, problem.coil_farad(x[kCapacitance])) * x[kTangent] +
                             Complex(0, 2 * std::numbers::pi * g.frequency_hz * problem.stray_prior_f * x[kStray]);
        for (std::size_t k = 1; k < at.size(); ++k) admittance += x[kShapes + static_cast<Eigen::Index>(k) - 1] * at[k];
        curve.frequency_hz.push_back(g.frequency_hz);
        curve.impedance_ohm.push_back(1.0 / admittance);
    }
    return curve;
}

// Where the foot's reactance is zero, which is what an instrument in the band reports; loss moves it from the mode of
// the loss-free coil by some 1/Q^2 of itself. Of the described shape with the fitted loss. Hertz; the mode itself where
// the reactance has no zero nearby (Q of a few).
double zero_reactance_hz(const Problem& problem, const double* x) {
    const double mode_hz = problem.family.first_mode_hz() * std::exp(kLogScale * x[kResonance]);
    const auto reactance = [&](double f) {
        Group g;
        g.frequency_hz = f;
        return (1.0 / problem.described(x, g, problem.resistance(x, g))).imag();
    };
    for (const double reach : {1e-3, 1e-2, 5e-2}) {
        const double low = mode_hz * (1 - reach), high = mode_hz * (1 + reach);
        if (!(reactance(low) < 0 && reactance(high) > 0)) continue;
        boost::uintmax_t steps = 60;
        const auto at = boost::math::tools::toms748_solve(reactance, low, high,
                                                          boost::math::tools::eps_tolerance<double>(40), steps);
        return 0.5 * (at.first + at.second);
    }
    return mode_hz;
}

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

std::string hertz(double f) {
    return record::format_quantity(f, record::Unit::hertz, 3);
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
            hertz(used.high_hz),
            learned ? fmt::format("more than {} times its upper edge", kBelowBandReach)
                    : std::string("the curve narrows the calculated value hardly at all"),
            data.used_open ? "or " : "measure the open standard, or ",
            capacitors.empty() ? "" : fmt::format(", for this coil {}", capacitors))};
    }
    return fit;
}

}  // namespace coldtune::measure
