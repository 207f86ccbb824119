// The pickup where the resonance lies above the usable band: the calculated transfer, its frequencies scaled, on the
// data below.
#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/measure/below_band.hpp"
#include "analyzer/measure/pickup_parts.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/least_squares.hpp"

namespace coldtune::measure::pickup {
namespace {

enum Parameter : Eigen::Index {
    kAmplitude,
    kPhase,
    kDelay,
    kCorner,
    kResonance,
    kCapacitance,
    kLead,
    kWire,
    kEdge,
    kSteep,
    kCount
};
constexpr Eigen::Index kPriors = 8;  // of all but amplitude and resonance

// Standard uncertainties; none has a published source.
constexpr double kPhasePrior_rad = 0.003;
constexpr double kDelayPrior_rad = 0.02;  // phase between the inputs growing in proportion to frequency, at the edge
constexpr double kWirePrior = 0.02;       // the wire sees some of the upper winding too, whose share sinks as x^2
constexpr double kEdgePrior = 1e-3, kSteepPrior = 1e-3;  // gains of the inputs against each other toward the band edge

struct Model {
    const Points& points;
    const model::SecondaryModel& coil;
    double reference_ohm, corner_hz, edge_hz, start_hz, capacitance_prior;
    std::optional<double> lead_held_f = {};  // instead of leaving it free

    [[nodiscard]] Eigen::Index rows() const { return 2 * static_cast<Eigen::Index>(points.value.size()) + kPriors; }

    // V(head)/V1; resonance, the coil's capacitance as a factor, and the lead's in farads.
    [[nodiscard]] Complex transfer(double frequency_hz, double resonance_hz, double capacitance, double lead_f) const {
        const double ratio = coil.modes_hz().front() / resonance_hz;
        const model::ModelScale scale{capacitance, ratio * ratio / capacitance, 1};
        const Complex lead(0, 2 * std::numbers::pi * frequency_hz * lead_f);
        return coil.head_volts_per_volt(frequency_hz, scale) /
               (1.0 + reference_ohm * (coil.foot_admittance(frequency_hz, scale) + lead));
    }
    [[nodiscard]] double lead_f(const double* p) const {
        return lead_held_f.value_or(kFootLead_f + kFootLeadPrior_f * p[kLead]);
    }
    [[nodiscard]] double resonance_hz(const double* p) const { return start_hz * std::exp(0.01 * p[kResonance]); }
    [[nodiscard]] double corner_of(const double* p) const { return corner_hz * std::exp(kCornerPrior * p[kCorner]); }

    void evaluate(const double* p, double* residual, double* jacobian) const {
        constexpr double kStep = 1e-4;  // central differences on a smooth curve: error about 1e-8
        const double f0 = resonance_hz(p), fc = corner_of(p);
        const double c = std::exp(capacitance_prior * p[kCapacitance]), lead = lead_f(p);
        const Complex j(0, 1);
        if (jacobian != nullptr) std::fill(jacobian, jacobian + rows() * kCount, 0.0);
        for (std::size_t i = 0; i < points.value.size(); ++i) {
            const double f = points.frequency_hz[i], e = f / edge_hz, x2 = std::pow(f / f0, 2), sigma = points.sigma[i];
            const double bent = 1 + kWirePrior * x2 * p[kWire] + kEdgePrior * e * e * p[kEdge] +
                                kSteepPrior * std::pow(e, 12) * p[kSteep];
            const Complex front =
                std::polar(std::exp(p[kAmplitude]), kPhasePrior_rad * p[kPhase] + kDelayPrior_rad * e * p[kDelay]) *
                corner(f, fc);
            const Complex t = transfer(f, f0, c, lead);
            const Complex m = front * t * bent;
            const auto row = 2 * static_cast<Eigen::Index>(i);
            residual[row] = (m - points.value[i]).real() / sigma;
            residual[row + 1] = (m - points.value[i]).imag() / sigma;
            if (jacobian == nullptr) continue;
            const auto put = [&](Eigen::Index k, Complex v) {
                jacobian[k * rows() + row] = v.real() / sigma;
                jacobian[k * rows() + row + 1] = v.imag() / sigma;
            };
            put(kAmplitude, m);
            put(kPhase, j * kPhasePrior_rad * m);
            put(kDelay, j * kDelayPrior_rad * e * m);
            put(kCorner, -kCornerPrior * m / (1.0 + j * f / fc));
            const Complex by_frequency =
                (transfer(f, f0 * (1 + kStep), c, lead) - transfer(f, f0 * (1 - kStep), c, lead)) / (2 * kStep);
            put(kResonance, 0.01 * front * (by_frequency * bent - t * 2.0 * kWirePrior * x2 * p[kWire]));
            const Complex by_capacitance =
                (transfer(f, f0, c * (1 + kStep), lead) - transfer(f, f0, c * (1 - kStep), lead)) / (2 * kStep);
            put(kCapacitance, capacitance_prior * front * by_capacitance * bent);
            if (!lead_held_f) {
                // With D = 1 + R (Y + jwC) under it, dt/dC = -t R jw / D.
                const double scale = coil.modes_hz().front() / f0;
                const Complex slope(0, 2 * std::numbers::pi * f * reference_ohm * kFootLeadPrior_f);
                const Complex under = 1.0 + reference_ohm * (coil.foot_admittance(f, {c, scale * scale / c, 1}) +
                                                             Complex(0, 2 * std::numbers::pi * f * lead));
                put(kLead, -m * slope / under);
            }
            put(kWire, front * t * kWirePrior * x2);
            put(kEdge, front * t * kEdgePrior * e * e);
            put(kSteep, front * t * kSteepPrior * std::pow(e, 12));
        }
        Eigen::Index row = rows() - kPriors;
        for (Eigen::Index k = 0; k < kCount; ++k) {
            if (k == kAmplitude || k == kResonance) continue;
            residual[row] = p[k];
            if (jacobian != nullptr) jacobian[k * rows() + row] = 1;
            ++row;
        }
    }
};

struct BelowFit {
    double f0 = 0, u = 0, lead_u = 0, amplitude = 0, corner_hz = 0, chi_square = 0;
    Eigen::VectorXd parameters;
    std::size_t freedom = 0;
};

std::optional<BelowFit> solve(const Model& model, const Eigen::VectorXd& from) {
    dsp::LeastSquaresProblem problem{model.rows(), kCount,
                                     [&](const double* p, double* r, double* j) { model.evaluate(p, r, j); }};
    Eigen::VectorXd start = Eigen::VectorXd::Zero(kCount);
    const std::size_t low = model.points.value.size() / 4;
    start[kAmplitude] = std::log(std::abs(
        model.points.value[low] / (corner(model.points.frequency_hz[low], model.corner_hz) *
                                   model.transfer(model.points.frequency_hz[low], model.start_hz, 1, kFootLead_f))));
    if (from.size() == kCount) start = from;
    dsp::LeastSquaresOptions options;
    options.max_iterations = 200;
    options.cost_tolerance = 1e-7;  // of the sum of squares: a hundredth of a standard deviation
    options.step_tolerance = 1e-7;
    const auto solution = dsp::minimise_orthogonal(problem, start, options);
    if (!solution || !solution->converged()) return std::nullopt;
    const auto covariance = dsp::covariance_at(problem, solution->parameters, 1e-12);
    if (!covariance) return std::nullopt;
    BelowFit fit;
    fit.parameters = solution->parameters;
    fit.f0 = model.resonance_hz(solution->parameters.data());
    fit.chi_square = solution->chi_square;
    fit.freedom = static_cast<std::size_t>(problem.residuals - problem.parameters);
    const double misfit = std::max(1.0, fit.chi_square / static_cast<double>(fit.freedom));
    // The lead's prior is one row of unit weight: its share of the resonance is its covariance with it.
    const double lead = (*covariance)(kResonance, kLead);
    fit.lead_u = 0.01 * fit.f0 * std::abs(lead);
    fit.u = 0.01 * fit.f0 * std::sqrt(std::max(0.0, (*covariance)(kResonance, kResonance) * misfit - lead * lead));
    fit.amplitude = std::exp(solution->parameters[kAmplitude]);
    fit.corner_hz = model.corner_of(solution->parameters.data());
    return fit;
}

// `from`: where to start, another shape's solution; empty for none.
std::optional<BelowFit> fit_curve(const Model& model, const Eigen::VectorXd& from = {}) {
    auto fit = solve(model, from);
    if (!fit || !(model.lead_f(fit->parameters.data()) < 0)) return fit;
    // No lead has less than nothing; how well it is known stays what it was.
    Model none = model;
    none.lead_held_f = 0;
    auto held = solve(none, fit->parameters);
    if (!held) return std::nullopt;
    held->u = fit->u;
    held->lead_u = fit->lead_u;
    return held;
}

}  // namespace

PickupOutcome below_the_resonance(const dsp::Response& response, const dsp::BenchValues& bench,
                                  const BenchTolerances& tolerances, const dsp::Band& usable,
                                  const ShapeFamily& family) {
    const auto refuse = [&](std::string why) {
        return Finding{
            FindingCode::outside_band, Weight::reject,
            fmt::format("{}; use an interface with a higher rate, or the foot hookup with the open standard", why)};
    };
    const double corner_hz = declared_corner_hz(bench);
    const Points points = pool(response, usable, 0.006, corner_hz);
    if (points.value.size() < 40) return refuse("too little of the sweep reaches the wire to follow its curve");
    // A start inside the band would put the model's resonance among data that show none.
    const double start_hz = std::max(family.first_mode_hz(), 1.1 * usable.high_hz);
    const auto model_of = [&](std::size_t k) {
        return Model{points,
                     family.member(k),
                     bench.reference_ohm,
                     corner_hz,
                     usable.high_hz,
                     start_hz,
                     std::hypot(family.capacitance_prior(), 0.02)};
    };
    const auto fit = fit_curve(model_of(0));
    if (!fit) return refuse("the curve at the wire cannot be followed by the calculated one");
    constexpr double kWorstMisfit = 5;  // standard deviations
    if (fit->chi_square > kWorstMisfit * kWorstMisfit * static_cast<double>(fit->freedom)) {
        return refuse("the curve at the wire is not that of the described coil");
    }
    Resonance r;
    r.way = Way::below_band;
    const double wire_f = wire_capacitance_f(fit->amplitude, bench);
    const model::SecondaryModel& coil = family.member(0);
    const double rise = coil.modes_hz().front() / coil.with_head_capacitance(wire_f).modes_hz().front() - 1;
    r.frequency_hz = fit->f0 * (1 + rise);
    r.chi_square = fit->chi_square;
    r.degrees_of_freedom = fit->freedom;
    r.fit_window = usable;
    r.input_corner_hz = fit->corner_hz;
    r.budget.push_back({"noise, inputs and wire", fit->u, 0, 0});
    r.budget.push_back({"lead at the foot", fit->lead_u, 0, 0});
    for (std::size_t k = 0; k < family.names().size(); ++k) {
        const auto moved = fit_curve(model_of(k + 1), fit->parameters);
        if (!moved) return refuse("the resonance hangs on the described shape");
        r.budget.push_back({"shape: " + family.names()[k], std::abs(moved->f0 - fit->f0), 0, 0});
    }
    r.budget.push_back({"loading by the wire", r.frequency_hz * 0.25 * rise, 0, 0});
    r.budget.push_back({"clock", r.frequency_hz * tolerances.clock_ppm * 1e-6 / std::sqrt(3.0), 0, 0});
    total(r);
    // What the dimensions alone tell: an interval no narrower has learned nothing from the data.
    const double described = 0.5 * std::hypot(family.capacitance_prior(), family.inductance_prior());
    if (r.frequency_hz < usable.high_hz || r.frequency_hz > kBelowBandReach * usable.high_hz ||
        r.frequency_u95_hz > 2 * 0.7 * described * r.frequency_hz) {
        return refuse(fmt::format("the curve at the wire below {} does not tell where the coil resonates",
                                  record::format_quantity(usable.high_hz, record::Unit::hertz, 3)));
    }
    return r;
}

}  // namespace coldtune::measure::pickup
