#include "analyzer/measure/winding.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "analyzer/measure/declared_values.hpp"

namespace coldtune::measure {
namespace {

constexpr std::size_t kFewestBins = 20;
constexpr double kShareOfPole = 0.5;  // the series in f^2 converges well below the tied self-resonance

struct Line {
    Eigen::VectorXd coefficients;
    Eigen::MatrixXd covariance;  // scaled by chi square per degree of freedom where that exceeds one
};

// Weighted polynomial y = sum a_i x^i.
Line fit_polynomial(const std::vector<double>& x, const std::vector<double>& y, const std::vector<double>& sigma,
                    int degree) {
    const auto n = static_cast<Eigen::Index>(x.size());
    Eigen::MatrixXd a(n, degree + 1);
    Eigen::VectorXd b(n);
    for (Eigen::Index i = 0; i < n; ++i) {
        const auto k = static_cast<std::size_t>(i);
        double power = 1 / sigma[k];
        for (int j = 0; j <= degree; ++j, power *= x[k]) a(i, j) = power;
        b(i) = y[k] / sigma[k];
    }
    const Eigen::HouseholderQR<Eigen::MatrixXd> qr(a);
    Line line;
    line.coefficients = qr.solve(b);
    const double chi = (a * line.coefficients - b).squaredNorm();
    const double misfit = std::max(1.0, chi / static_cast<double>(n - degree - 1));
    const Eigen::MatrixXd inverse = qr.matrixQR()
                                        .topRows(degree + 1)
                                        .triangularView<Eigen::Upper>()
                                        .solve(Eigen::MatrixXd::Identity(degree + 1, degree + 1));
    line.covariance = misfit * inverse * inverse.transpose();
    return line;
}

double value_at(const Line& line, double x) {
    double sum = 0;
    for (Eigen::Index j = line.coefficients.size(); j-- > 0;) sum = sum * x + line.coefficients(j);
    return sum;
}

struct Bins {
    std::vector<double> frequency_hz, reciprocal, reciprocal_sigma, resistance, resistance_sigma;
};

// Inductive bins up to a frequency: 1/L(f), and Re Z.
Bins inductive_bins(const dsp::CorrectedResponse& data, double highest_hz) {
    Bins bins;
    for (std::size_t k = 0; k < data.frequency_hz.size() && data.frequency_hz[k] <= highest_hz; ++k) {
        const double omega = 2 * std::numbers::pi * data.frequency_hz[k];
        const double reactance = data.impedance[k].imag();
        const double sigma = std::sqrt(data.impedance_variance[k] / 2);
        if (!(reactance > 5 * sigma) || !(sigma > 0)) continue;
        bins.frequency_hz.push_back(data.frequency_hz[k]);
        bins.reciprocal.push_back(omega / reactance);
        bins.reciprocal_sigma.push_back(omega * sigma / (reactance * reactance));
        bins.resistance.push_back(data.impedance[k].real());
        bins.resistance_sigma.push_back(sigma);
    }
    return bins;
}

}  // namespace

std::optional<WindingFit> fit_winding(const dsp::CorrectedResponse& data) {
    if (data.frequency_hz.size() < kFewestBins) return std::nullopt;
    std::size_t capacitive = 0;
    for (const auto& z : data.impedance) capacitive += z.imag() < 0 ? 1U : 0U;
    double highest = data.frequency_hz.back();
    if (capacitive > 0) {
        // The tied self-resonance lies in the band: below it only.
        for (std::size_t k = 0; k < data.frequency_hz.size(); ++k) {
            if (data.impedance[k].imag() < 0 && data.frequency_hz[k] > 4 * data.frequency_hz.front()) {
                highest = kShareOfPole * data.frequency_hz[k];
                break;
            }
        }
    }
    WindingFit fit;
    for (int round = 0; round < 4; ++round) {
        const Bins bins = inductive_bins(data, highest);
        if (bins.frequency_hz.size() < kFewestBins) return std::nullopt;
        std::vector<double> square, linear;
        for (double f : bins.frequency_hz) {
            linear.push_back(f / highest);
            square.push_back(linear.back() * linear.back());
        }
        const Line line = fit_polynomial(square, bins.reciprocal, bins.reciprocal_sigma, 3);
        const Line shorter = fit_polynomial(square, bins.reciprocal, bins.reciprocal_sigma, 2);
        const double a0 = line.coefficients(0);
        if (!(a0 > 0)) return std::nullopt;
        fit.inductance_h = 1 / a0;
        const double noise = std::sqrt(line.covariance(0, 0)) / (a0 * a0);
        fit.inductance_u_h = std::hypot(noise, (1 / shorter.coefficients(0) - fit.inductance_h) / std::sqrt(3.0));
        const double reference = 2 * std::numbers::pi * highest;
        fit.own_capacitance_f = std::max(0.0, -line.coefficients(1) / (reference * reference));
        fit.own_capacitance_u_f = std::hypot(std::sqrt(line.covariance(1, 1)),
                                             (shorter.coefficients(1) - line.coefficients(1)) / std::sqrt(3.0)) /
                                  (reference * reference);
        fit.window = {bins.frequency_hz.front(), bins.frequency_hz.back()};

        std::vector<double> series = bins.resistance;
        for (std::size_t k = 0; k < series.size(); ++k) {
            series[k] *=
                std::pow(bins.reciprocal[k] * fit.inductance_h, 2);  // (L0 / L(f))^2 undoes the own capacitance
        }
        const Line resistance = fit_polynomial(linear, series, bins.resistance_sigma, 3);
        const Line plainer = fit_polynomial(linear, series, bins.resistance_sigma, 2);
        const double at = linear.front();
        fit.resistance_ohm = value_at(resistance, at);
        const Eigen::VectorXd powers = Eigen::Vector4d(1, at, at * at, at * at * at);
        fit.resistance_u_ohm = std::hypot(std::sqrt(powers.dot(resistance.covariance * powers)),
                                          (value_at(plainer, at) - fit.resistance_ohm) / std::sqrt(3.0));
        fit.resistance_curve.clear();
        constexpr int kCurvePoints = 13;
        for (int i = 0; i < kCurvePoints; ++i) {
            const double f = fit.window.low_hz * std::pow(fit.window.high_hz / fit.window.low_hz,
                                                          static_cast<double>(i) / (kCurvePoints - 1));
            fit.resistance_curve.push_back({f, value_at(resistance, f / highest)});
        }

        const double pole_hz =
            1 / (2 * std::numbers::pi * std::sqrt(fit.inductance_h * std::max(fit.own_capacitance_f, 1e-18)));
        if (highest <= kShareOfPole * pole_hz * 1.05) break;
        highest = kShareOfPole * pole_hz;
    }
    return fit;
}

std::optional<WindingValue> find_winding(const dsp::CorrectedResponse& data, const dsp::Response& coil,
                                         const dsp::Standards& standards, const dsp::BenchValues& bench,
                                         const BenchTolerances& tolerances) {
    const auto fit = fit_winding(data);
    if (!fit) return std::nullopt;
    WindingValue value;
    double c2 = fit->own_capacitance_u_f * fit->own_capacitance_u_f;
    value.budget.push_back({"noise and form of the curve", fit->inductance_u_h, fit->resistance_u_ohm});
    for (const DeclaredValue& declared : declared_values(standards, tolerances)) {
        BenchCaptures moved{coil, standards, bench};
        declared.move(moved);
        const auto corrected = dsp::correct(moved.coil, moved.standards, moved.values);
        const auto again = corrected ? fit_winding(*corrected) : std::nullopt;
        if (!again) return std::nullopt;  // the result hangs on this value
        c2 += std::pow(again->own_capacitance_f - fit->own_capacitance_f, 2);
        value.budget.push_back({declared.source, std::abs(again->inductance_h - fit->inductance_h),
                                std::abs(again->resistance_ohm - fit->resistance_ohm)});
    }
    value.budget.push_back({"clock", fit->inductance_h * tolerances.clock_ppm * 1e-6 / std::sqrt(3.0), 0});
    double l2 = 0, r2 = 0;
    for (const WindingBudgetLine& line : value.budget) {
        l2 += line.inductance_u_h * line.inductance_u_h;
        r2 += line.resistance_u_ohm * line.resistance_u_ohm;
    }
    value.inductance_h = fit->inductance_h;
    value.inductance_u95_h = 2 * std::sqrt(l2);
    value.resistance_ohm = fit->resistance_ohm;
    value.resistance_u95_ohm = 2 * std::sqrt(r2);
    value.own_capacitance_f = fit->own_capacitance_f;
    value.own_capacitance_u95_f = 2 * std::sqrt(c2);
    value.window = fit->window;
    value.resistance_curve = fit->resistance_curve;
    return value;
}

}  // namespace coldtune::measure
