#include "analyzer/measure/below_band.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

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
// Difference of the inputs' responses at the band edge: a gentle part, as analogue filters far above the band leave it,
// and a steep one, as filters close to the edge do. Common practice, no source. With the load standard: what moves
// between two captures.
constexpr double kGentleMeasured = 1e-5, kSteepMeasured = 3e-5;
constexpr double kGentleDeclared = 4e-4, kSteepDeclared = 1e-3;
constexpr double kLossPrior = 1.0;          // ln of resistance over copper: a factor of e either way
constexpr double kLossSlopePrior = 0.7;     // power of frequency beyond skin effect: proximity, lossy floor
constexpr double kLossTangentPrior = 0.01;  // former, floor
constexpr double kStrayAfterOpen_f = 1e-12;
// Chi square per degree of freedom beyond which scaling the noise no longer makes an honest interval: five standard
// deviations on average.
constexpr double kWorstMisfit = 25;

// `beside_f`: capacitance beside the coil that the errors act on too.
std::vector<Group> pool(const dsp::CorrectedResponse& data, const dsp::Band& band, double phase_rad, double beside_f) {
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
    kEdge,
    kSteep,
    kConductance,
    kSusceptance,
    kShapes
};
constexpr double kLogScale = 0.1;  // of the first two

struct Problem {
    const ShapeFamily& family;
    std::vector<Group> groups;
    double stray_prior_f = 0;
    double gentle_gain = 0, steep_gain = 0;
    double edge_hz = 0;
    // What gains and phases that differ leave over when no open standard took it out: constant admittances, S.
    double conductance_prior = 0;
    double susceptance_prior = 0;
    // What the inputs' difference acts on besides the coil while no open standard took it out: 1 / reference and the
    // declared input capacitance.
    double reference_s = 0;
    double input_f = 0;
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
    [[nodiscard]] double gentle(const Group& g) const { return gentle_gain * std::pow(g.frequency_hz / edge_hz, 2); }
    [[nodiscard]] double steep(const Group& g) const { return steep_gain * std::pow(g.frequency_hz / edge_hz, 12); }
    [[nodiscard]] double edge(const double* x, const Group& g) const {
        return gentle(g) * x[kEdge] + steep(g) * x[kSteep];
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
            const double bent = 1 + edge(x, g);
            const auto column = [&](Eigen::Index k) { return jacobian + k * rows(); };
            store(
                column(kResonance), i, g,
                (model(x, x[kCapacitance], g, higher.at[i]) - model(x, x[kCapacitance], g, lower.at[i])) / (2 * kStep));
            // d / d ln(resistance), of the described shape only: the others are taken free of loss.
            const double r = resistance(x, g);
            const Complex loss =
                (described(x, g, r * std::exp(kStep)) - described(x, g, r * std::exp(-kStep))) / (2 * kStep) * bent;
            store(column(kLoss), i, g, kLossPrior * loss);
            store(column(kLossSlope), i, g, kLossSlopePrior * std::log(g.frequency_hz / edge_hz) * loss);
            Complex coil = here.at[i][0] + tangent_admittance(g, farad) * x[kTangent];
            for (std::size_t k = 1; k < here.at[i].size(); ++k) {
                coil += x[kShapes + static_cast<Eigen::Index>(k) - 1] * here.at[i][k];
            }
            store(column(kCapacitance), i, g, kLogScale * (coil * bent + loss));
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
            const double bent = 1 + edge(x, g);
            const Complex stray(0, 2 * std::numbers::pi * g.frequency_hz * stray_prior_f);
            const Complex constants =
                stray * x[kStray] + Complex(conductance_prior * x[kConductance], susceptance_prior * x[kSusceptance]);
            const Complex bent_whole = model(x, x[kCapacitance], g, here.at[i]) - constants;
            store(column(kStray), i, g, stray);
            store(column(kConductance), i, g, conductance_prior);
            store(column(kSusceptance), i, g, Complex(0, susceptance_prior));
            store(column(kTangent), i, g, tangent_admittance(g, coil_farad(x[kCapacitance])) * bent);
            const Complex straight = (bent_whole + beside(g)) / bent;
            store(column(kEdge), i, g, gentle(g) * straight);
            store(column(kSteep), i, g, steep(g) * straight);
            for (std::size_t k = 1; k < here.at[i].size(); ++k) {
                store(column(kShapes + static_cast<Eigen::Index>(k) - 1), i, g, here.at[i][k] * bent);
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

// The minimum, from the start or, where the valley runs dry before it, from resonances a little above and below.
std::optional<dsp::LeastSquaresSolution> follow_curve(const dsp::LeastSquaresProblem& problem,
                                                      const Eigen::VectorXd& start) {
    // Weights of 1e5 on a nearly straight curve make a long narrow valley, hence the orthogonal solver.
    dsp::LeastSquaresOptions options;
    options.max_iterations = 300;
    options.cost_tolerance = 1e-8;
    options.step_tolerance = 1e-8;
    std::optional<dsp::LeastSquaresSolution> best;
    for (const double offset : {0.0, 0.4, 1.0, 2.0}) {
        Eigen::VectorXd from = start;
        from[kResonance] += offset;
        auto solution = dsp::minimise_orthogonal(problem, from, options);
        if (!solution || !solution->converged()) continue;
        if (!best || solution->chi_square < best->chi_square) best = std::move(*solution);
        if (best->chi_square < kWorstMisfit * static_cast<double>(problem.residuals)) break;
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
    Problem problem{family, pool(data, used, data.used_load ? kPhaseMeasured_rad : kPhaseDeclared_rad,
                                 data.used_open ? 0.0 : bench.input_capacitance_f)};
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
    problem.gentle_gain = data.used_load ? kGentleMeasured : kGentleDeclared;
    problem.steep_gain = data.used_load ? kSteepMeasured : kSteepDeclared;
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

    const auto solution = follow_curve(lsq, start);
    if (!solution) {
        return BelowBandRefusal{
            "the coil's curve cannot be followed by the calculated one; check the description and the wiring"};
    }
    const Eigen::VectorXd& x = solution->parameters;
    const double first_hz = family.first_mode_hz() * std::exp(kLogScale * x[kResonance]);

    // Posterior covariance and each row's share of the resonance's variance: the estimate is linear in data and priors,
    // so the squares of its row weights add up to the whole.
    std::vector<double> residual(static_cast<std::size_t>(problem.rows()));
    Eigen::MatrixXd j(problem.rows(), problem.parameters());
    problem.evaluate(x.data(), residual.data(), j.data());
    Eigen::VectorXd pick = Eigen::VectorXd::Zero(problem.parameters());
    pick[kResonance] = 1;
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
    line("channel match", share(kEdge) + share(kSteep) + share(kConductance) + share(kSusceptance));
    for (std::size_t k = 0; k < family.names().size(); ++k) {
        line("shape: " + family.names()[k], share(kShapes + static_cast<Eigen::Index>(k)));
    }
    r.budget.push_back({"clock", first_hz * tolerances.clock_ppm * 1e-6 / std::sqrt(3.0), 0, 0});
    double variance = 0;
    for (const BudgetLine& b : r.budget) variance += b.frequency_u_hz * b.frequency_u_hz;
    r.frequency_u95_hz = 2 * std::sqrt(variance);
    fit.static_capacitance_f = family.static_capacitance_f() * std::exp(kLogScale * x[kCapacitance]);
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
