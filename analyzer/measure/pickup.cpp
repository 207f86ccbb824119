#include "analyzer/measure/pickup.hpp"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/measure/pickup_parts.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/least_squares.hpp"

namespace coldtune::measure {
namespace pickup {

double declared_corner_hz(const dsp::BenchValues& bench) {
    return 1 / (2 * std::numbers::pi * bench.input_resistance_ohm * std::max(bench.input_capacitance_f, 1e-12));
}

double wire_capacitance_f(double amplitude, const dsp::BenchValues& bench) {
    const double share = std::min(amplitude, 0.5);
    return bench.input_capacitance_f * share / (1 - share);
}

Points pool(const dsp::Response& response, const dsp::Band& band, double relative_width, double corner_hz) {
    Points points;
    for (std::size_t k = 0; k < response.frequency_hz.size();) {
        const double first = response.frequency_hz[k];
        if (first < band.low_hz || first > band.high_hz) {
            ++k;
            continue;
        }
        double f = 0, weight = 0;
        Complex sum = 0;
        for (; k < response.frequency_hz.size() && response.frequency_hz[k] <= band.high_hz &&
               response.frequency_hz[k] <= first * (1 + relative_width);
             ++k) {
            if (!(response.variance[k] > 0)) continue;
            const double w = 1 / response.variance[k];
            f += w * response.frequency_hz[k];
            sum += w * response.ratio[k] / corner(response.frequency_hz[k], corner_hz);
            weight += w;
        }
        if (weight > 0) {
            points.frequency_hz.push_back(f / weight);
            points.value.push_back(sum / weight * corner(f / weight, corner_hz));
            points.sigma.push_back(std::sqrt(0.5 / weight));
        } else if (k < response.frequency_hz.size() && response.frequency_hz[k] == first) {
            ++k;
        }
    }
    return points;
}

void total(Resonance& resonance) {
    double variance = 0;
    for (const BudgetLine& line : resonance.budget) variance += line.frequency_u_hz * line.frequency_u_hz;
    resonance.frequency_u95_hz = 2 * std::sqrt(variance);
}

}  // namespace pickup

namespace {

using pickup::Complex;
using pickup::Points;

// Parameters of the fit; each of order one in its unit.
enum Parameter : Eigen::Index { kAmplitude, kPhase, kCorner, kResonance, kLoss, kModes, kFoot, kCount };
constexpr double kResonanceUnit = 0.01;

// Priors (standard uncertainties), none has a published source. They matter where the window is too narrow to tell.
constexpr double kPhasePrior_rad = 0.02;                // between the inputs, and what a wire's lead adds
constexpr double kModesMean = 0.1, kModesPrior = 0.15;  // b: the second mode lies at 2 to 3 times the first

struct Model {
    const Points& points;
    double start_hz, corner_hz, foot_mean;

    [[nodiscard]] Eigen::Index rows() const { return 2 * static_cast<Eigen::Index>(points.value.size()) + 4; }

    void evaluate(const double* p, double* residual, double* jacobian) const {
        const double f0 = start_hz * std::exp(kResonanceUnit * p[kResonance]);
        const double fc = corner_hz * std::exp(pickup::kCornerPrior * p[kCorner]);
        const double d = std::exp(p[kLoss]);
        const double b = kModesMean + kModesPrior * p[kModes];
        const double g = foot_mean * (1 + p[kFoot]);
        const Complex a = std::polar(std::exp(p[kAmplitude]), kPhasePrior_rad * p[kPhase]);
        const Complex j(0, 1);
        const Eigen::Index data = rows() - 4;
        if (jacobian != nullptr) std::fill(jacobian, jacobian + rows() * kCount, 0.0);
        for (std::size_t i = 0; i < points.value.size(); ++i) {
            const double x = points.frequency_hz[i] / f0, s = x * x - 1, sigma = points.sigma[i];
            const Complex denominator = -s * (1.0 + j * x * g) + j * x * d;
            const double modes = 1 + b * s;
            const Complex m = a * pickup::corner(points.frequency_hz[i], fc) * modes / denominator;
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
            put(kCorner, -pickup::kCornerPrior * m / (1.0 + j * points.frequency_hz[i] / fc));
            const Complex slope = -2 * x * (1.0 + j * x * g) - s * j * g + j * d;
            put(kResonance, kResonanceUnit * m * (x * slope / denominator - 2 * b * x * x / modes));
            put(kLoss, -m * j * x * d / denominator);
            put(kModes, kModesPrior * m * s / modes);
            put(kFoot, foot_mean * m * j * x * s / denominator);
        }
        Eigen::Index row = data;
        for (const Eigen::Index k :
             {Eigen::Index{kPhase}, Eigen::Index{kCorner}, Eigen::Index{kModes}, Eigen::Index{kFoot}}) {
            residual[row] = p[k];
            if (jacobian != nullptr) jacobian[k * rows() + row] = 1;
            ++row;
        }
    }
};

struct Fit {
    double f0 = 0, u = 0, q = 0, corner_hz = 0, low_amplitude = 0;  // u: noise scaled by misfit
    double chi_square = 0, relative_misfit = 0;
    std::size_t freedom = 0;
    dsp::Band window;
};

std::optional<Fit> fit_window(const dsp::Response& response, const dsp::BenchValues& bench, const dsp::Band& window,
                              double f_start, double q_start) {
    const double corner_hz = pickup::declared_corner_hz(bench);
    // Pools a hundredth of the bandwidth wide bend nothing.
    const Points points = pickup::pool(response, window, std::min(0.01, 0.01 / q_start), corner_hz);
    if (points.value.size() < 12) return std::nullopt;
    const Model model{points, f_start, corner_hz,
                      2 * std::numbers::pi * f_start * bench.reference_ohm * pickup::kFootLead_f};
    dsp::LeastSquaresProblem problem{model.rows(), kCount,
                                     [&](const double* p, double* r, double* j) { model.evaluate(p, r, j); }};
    Eigen::VectorXd start = Eigen::VectorXd::Zero(kCount);
    std::size_t nearest = 0;
    for (std::size_t i = 0; i < points.value.size(); ++i) {
        if (std::abs(points.frequency_hz[i] - f_start) < std::abs(points.frequency_hz[nearest] - f_start)) nearest = i;
    }
    start[kLoss] = -std::log(q_start);
    start[kAmplitude] = std::log(std::abs(points.value[nearest]) / q_start);
    dsp::LeastSquaresOptions options;
    options.max_iterations = 200;
    options.cost_tolerance = 1e-9;
    options.step_tolerance = 1e-10;
    const auto solution = dsp::minimise_orthogonal(problem, start, options);
    if (!solution || !solution->converged()) return std::nullopt;
    const auto covariance = dsp::covariance_at(problem, solution->parameters, 1e-12);
    if (!covariance) return std::nullopt;
    const Eigen::VectorXd& p = solution->parameters;
    Fit fit;
    fit.f0 = f_start * std::exp(kResonanceUnit * p[kResonance]);
    fit.chi_square = solution->chi_square;
    fit.freedom = static_cast<std::size_t>(problem.residuals - problem.parameters);
    const double misfit = std::max(1.0, fit.chi_square / static_cast<double>(fit.freedom));
    fit.u = fit.f0 * kResonanceUnit * std::sqrt((*covariance)(kResonance, kResonance) * misfit);
    fit.q = std::exp(-p[kLoss]);
    fit.corner_hz = corner_hz * std::exp(pickup::kCornerPrior * p[kCorner]);
    const double b = kModesMean + kModesPrior * p[kModes];
    fit.low_amplitude = std::exp(p[kAmplitude]) * std::max(0.1, 1 - b);
    fit.window = {points.frequency_hz.front(), points.frequency_hz.back()};
    std::vector<double> r(static_cast<std::size_t>(problem.residuals));
    model.evaluate(p.data(), r.data(), nullptr);
    double miss = 0, size = 0;
    for (std::size_t i = 0; i < points.value.size(); ++i) {
        miss += (r[2 * i] * r[2 * i] + r[2 * i + 1] * r[2 * i + 1]) * points.sigma[i] * points.sigma[i];
        size += std::norm(points.value[i]);
    }
    fit.relative_misfit = std::sqrt(miss / size);
    return fit;
}

// Where the coil's own part of the ratio is highest, how broad it stands there, and what else stands out.
struct Highest {
    double frequency_hz = 0, q = 1;
    bool inside = false;
    std::vector<double> others_hz;
};

Highest find_highest(const dsp::Response& response, const dsp::BenchValues& bench, const dsp::Band& usable) {
    const double corner_hz = pickup::declared_corner_hz(bench);
    const Points points = pickup::pool(response, usable, 2e-4, corner_hz);
    const std::size_t n = points.value.size();
    Highest out;
    if (n < 20) return out;
    std::vector<double> height(n);
    for (std::size_t i = 0; i < n; ++i) {
        height[i] = std::abs(points.value[i] / pickup::corner(points.frequency_hz[i], corner_hz));
    }
    const auto top = static_cast<std::size_t>(std::max_element(height.begin(), height.end()) - height.begin());
    out.frequency_hz = points.frequency_hz[top];
    std::size_t low = top, high = top;
    while (low > 0 && height[low] > std::numbers::sqrt2 / 2 * height[top]) --low;
    while (high + 1 < n && height[high] > std::numbers::sqrt2 / 2 * height[top]) ++high;
    out.inside = high + 1 < n && top > 0 && height[top] > 1.05 * height.front();
    // The nearer of the two half widths: the lower one may never fall that far.
    const double half =
        std::min(out.frequency_hz - points.frequency_hz[low], points.frequency_hz[high] - out.frequency_hz);
    out.q = std::clamp(out.frequency_hz / std::max(2 * half, 1e-9), 0.7, 1e5);
    // Another peak: a quarter as high, with a valley less than half as high as itself on the way there. The coil's own
    // second mode lies at twice the first or above and is none of these.
    for (const bool up : {false, true}) {
        double valley = height[top];
        std::size_t best = n;
        for (std::size_t i = top; up ? i + 1 < n : i > 0; up ? ++i : --i) {
            if (height[i] < valley) valley = height[i];
            const bool peak = i != top && i > 0 && height[i] > height[i - 1] && height[i] > height[i + 1];
            if (peak && height[i] > 2 * valley && (best == n || height[i] > height[best])) best = i;
        }
        if (best != n && height[best] >= 0.25 * height[top] && points.frequency_hz[best] < 1.7 * out.frequency_hz)
            out.others_hz.push_back(points.frequency_hz[best]);
    }
    return out;
}

// The wire hangs on the head: relative rise of the resonance when it is taken away, and its standard uncertainty.
struct WireShift {
    double relative = 0, u = 0;
};
WireShift wire_shift(const Fit& fit, const dsp::BenchValues& bench, const ShapeFamily* family) {
    const double wire_f = pickup::wire_capacitance_f(fit.low_amplitude, bench);
    if (family != nullptr) {
        const model::SecondaryModel& coil = family->member(0);
        const double rise = coil.modes_hz().front() / coil.with_head_capacitance(wire_f).modes_hz().front() - 1;
        // Input capacitance within 30 % (rectangular), the calculated coil, and how far the coil is from it.
        const double apart = std::abs(std::pow(coil.modes_hz().front() / fit.f0, 2) - 1);
        return {rise, rise * std::hypot(0.25, apart)};
    }
    // Without a description: heads carry 5 to 60 pF, and a coil by itself has a Q above 50 (common practice, no
    // source). The reference resistor R narrows that: 1/Q = w0 C R + 1/Q_own, where C, by the current at the foot, is 1
    // to 1.7 times the head's (top-loaded to bare).
    const double omega_r = 2 * std::numbers::pi * fit.f0 * bench.reference_ohm;
    const double c_high = std::clamp(1 / (fit.q * omega_r), 5e-12, 60e-12);
    const double c_low = std::clamp((1 / fit.q - 1 / 50.0) / omega_r / 1.7, 5e-12, c_high);
    const double most = std::sqrt(1 + wire_f / c_low) - 1, least = std::sqrt(1 + wire_f / c_high) - 1;
    const double rise = 0.5 * (most + least);
    return {rise, std::hypot(0.25 * rise, 0.5 * (most - least) / std::sqrt(3.0))};
}

}  // namespace

PickupOutcome find_pickup(const dsp::Response& response, const dsp::BenchValues& bench,
                          const BenchTolerances& tolerances, const std::optional<dsp::Band>& usable,
                          const ShapeFamily* family) {
    if (!usable) {
        return Finding{FindingCode::no_coil, Weight::reject,
                       "nothing of the sweep reaches the wire; bring it nearer to the head (a hand's breadth), check "
                       "that input 2 is on the wire and the generator on the foot"};
    }
    const Highest highest = find_highest(response, bench, *usable);
    if (!highest.inside) {
        if (family != nullptr) return pickup::below_the_resonance(response, bench, tolerances, *usable, *family);
        return Finding{
            FindingCode::outside_band, Weight::reject,
            fmt::format("no resonance at the wire between {} and {}; use an interface with a higher rate, or "
                        "give the coil's description (--coil) to find the resonance from the curve below it",
                        record::hertz_text(usable->low_hz), record::hertz_text(usable->high_hz))};
    }
    // From wide to narrow until the circuit describes what is seen; what the last step moved is the form's share.
    std::optional<Fit> best;
    double form = 0;
    double f = highest.frequency_hz, q = highest.q;
    for (const double widths : {6.0, 3.0, 1.5}) {
        const double half = std::min(widths * f / q, 0.7 * f);
        const dsp::Band window{std::max(usable->low_hz, f - half), std::min(usable->high_hz, f + half)};
        auto fit = fit_window(response, bench, window, f, q);
        if (!fit || fit->f0 < usable->low_hz || fit->f0 > usable->high_hz) continue;
        if (best) form = std::abs(fit->f0 - best->f0);
        best = fit;
        f = best->f0;
        q = std::max(0.7, best->q);
    }
    constexpr double kWorstMisfit = 0.03;     // of the signal: beyond that it is another circuit
    constexpr double kWorstRelativeU = 0.02;  // a resonance known no better is not seen
    if (!best || best->relative_misfit > kWorstMisfit) {
        return Finding{FindingCode::no_resonance, Weight::reject,
                       "what the wire hears is not one resonance; move other coils and the primary away, use a smaller "
                       "reference resistor (100 ohm) and a longer sweep"};
    }
    Resonance r;
    r.way = Way::in_band;
    const WireShift shift = wire_shift(*best, bench, family);
    r.frequency_hz = best->f0 * (1 + shift.relative);
    r.chi_square = best->chi_square;
    r.degrees_of_freedom = best->freedom;
    r.fit_window = best->window;
    r.loaded_q = best->q;
    r.input_corner_hz = best->corner_hz;
    r.other_peaks_hz = highest.others_hz;
    r.budget.push_back({"noise", best->u, 0, 0});
    // Largest seen on simulated distributed coils behind 100 ohm to 10 kohm: 0.1/Q^2 of the frequency.
    r.budget.push_back(
        {"form of the curve", std::hypot(form / std::sqrt(3.0), 0.1 * r.frequency_hz / (best->q * best->q)), 0, 0});
    r.budget.push_back({"loading by the wire", r.frequency_hz * shift.u, 0, 0});
    r.budget.push_back({"clock", r.frequency_hz * tolerances.clock_ppm * 1e-6 / std::sqrt(3.0), 0, 0});
    pickup::total(r);
    if (!(r.frequency_u95_hz < 2 * kWorstRelativeU * r.frequency_hz)) {
        return Finding{FindingCode::no_resonance, Weight::reject,
                       "the data do not tell the resonance: it is broad, or hidden in noise; use a smaller reference "
                       "resistor (100 ohm), raise the level or sweep for longer"};
    }
    return r;
}

}  // namespace coldtune::measure
