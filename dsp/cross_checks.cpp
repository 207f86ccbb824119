#include "dsp/cross_checks.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

// The curve without its background, on the axis u = Q (f/f0 - f0/f) of the fit (used only to say which bins are near).
struct Bare {
    double frequency = 0, u = 0;
    Complex value;
    double sigma = 0;
};

// Parabola through 1/(real part) in (u - centre), weighted; nullopt with fewer than four points.
// The reciprocal of 1/(1 + u^2) IS a parabola, so nothing is lost to curvature.
std::optional<Eigen::Vector3d> reciprocal_parabola(const std::vector<Bare>& points, double centre) {
    if (points.size() < 4) return std::nullopt;
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    for (const auto& point : points) {
        const double y = point.value.real();
        if (!(y > 0)) return std::nullopt;
        const double weight = std::pow(y * y / point.sigma, 2);
        const double x = point.u - centre;
        const Eigen::Vector3d row(1, x, x * x);
        normal += weight * row * row.transpose();
        right += weight / y * row;
    }
    return Eigen::Vector3d(normal.ldlt().solve(right));
}

template <typename Keep>
std::vector<Bare> chosen(const std::vector<Bare>& all, Keep keep) {
    std::vector<Bare> result;
    std::copy_if(all.begin(), all.end(), std::back_inserter(result), keep);
    return result;
}

// Where the real part crosses half its top: the top from the bins within |u| < 0.8, each crossing from those of its own
// flank, about 0.3 to 0.75 of the top. f0 / (f2 - f1) is exact for this model at any Q.
std::optional<double> half_power(const std::vector<Bare>& bare, double f0, double q) {
    const auto top = reciprocal_parabola(chosen(bare, [](const Bare& p) { return std::abs(p.u) < 0.8; }), 0);
    if (!top || !((*top)(2) > 0)) return std::nullopt;
    const double at_top = (*top)(0) - 0.25 * (*top)(1) * (*top)(1) / (*top)(2);  // lowest reciprocal
    double crossing[2] = {0, 0};
    for (const int side : {-1, 1}) {
        const auto flank = reciprocal_parabola(
            chosen(bare, [side](const Bare& p) { return p.u * side > 0.55 && p.u * side < 1.5; }), side);
        if (!flank) return std::nullopt;
        const auto& c = *flank;
        double x = 0;
        for (int i = 0; i < 8; ++i) x -= (c(0) + x * (c(1) + x * c(2)) - 2 * at_top) / (c(1) + 2 * x * c(2));
        if (!(std::abs(x) < 0.45)) return std::nullopt;
        const double half = (side + x) / (2 * q);
        crossing[side > 0 ? 1 : 0] = f0 * (half + std::sqrt(1 + half * half));
    }
    return std::sqrt(crossing[0] * crossing[1]) / (crossing[1] - crossing[0]);
}

// Slope of the phase. Its tangent is exactly -Q (f/f0 - f0/f), so a straight line through tan(phase) inside one
// bandwidth gives Q with no error of curvature; weights carry the noise of the tangent.
std::optional<double> phase_slope(const std::vector<Bare>& bare, double f0) {
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    int count = 0;
    for (const auto& p : bare) {
        if (!(std::abs(p.u) < 1) || !(p.value.real() > 0)) continue;
        const double tangent = p.value.imag() / p.value.real();
        // Expected noise of the tangent, not the one the datum itself suggests: that would favour high data.
        const double noise = p.sigma * std::pow(1 + p.u * p.u, 1.5);
        const double w = 1 / (noise * noise);
        const double t = p.frequency / f0 - f0 / p.frequency;
        const Eigen::Vector2d row(1, t);
        normal += w * row * row.transpose();
        right += w * tangent * row;
        ++count;
    }
    if (count < 5) return std::nullopt;
    const Eigen::Vector2d line = normal.ldlt().solve(right);
    const double q = -line(1);
    return std::isfinite(q) && q > 0 ? std::optional(q) : std::nullopt;
}

// Decay of the inverse transform of the curve about f0. A single resonance is there one decaying exponential,
// exp(-pi f0 t/Q) (the complex frequency of its pole); the smooth window keeps what the cut at the ends of the band
// adds to the first instants only. The envelope's logarithm is fitted by a straight line, weighted with its square.
std::optional<double> ringdown(const std::vector<Bare>& bare, double f0, double q) {
    if (bare.size() < 24) return std::nullopt;
    const double bandwidth = f0 / q;
    const double step_hz = bare[1].frequency - bare[0].frequency;
    const double reach = std::min(f0 - bare.front().frequency, bare.back().frequency - f0);
    // Narrower than two bandwidths the window, not the resonance, would set the decay.
    if (!(reach > 2 * bandwidth)) return std::nullopt;
    std::vector<Complex> value, phasor;
    for (std::size_t i = 0; i < bare.size(); ++i) {
        if (i > 0 && std::abs(bare[i].frequency - bare[i - 1].frequency - step_hz) > 1e-3 * step_hz) {
            return std::nullopt;  // only an even grid has an inverse transform that is a ring-down
        }
        const double x = (bare[i].frequency - f0) / reach;
        if (std::abs(x) >= 1) continue;
        const double window = std::pow(std::cos(std::numbers::pi / 2 * x), 4);
        value.push_back(window * bare[i].value);
        phasor.push_back(bare[i].frequency - f0);
    }
    // From four times the window's rise to where the envelope has fallen by e^3 more, or two thirds of the period.
    const double decay = 1 / (std::numbers::pi * bandwidth);
    const double begin = 2 / reach;
    const double end = std::min(begin + 3 * decay, 0.67 / step_hz);
    constexpr int instants = 24;
    if (!(end > begin + 0.5 * decay)) return std::nullopt;
    const double dt = (end - begin) / (instants - 1);
    for (std::size_t i = 0; i < value.size(); ++i) {
        const double w = 2 * std::numbers::pi * phasor[i].real();
        value[i] *= std::polar(1.0, w * begin);
        phasor[i] = std::polar(1.0, w * dt);
    }
    Eigen::Matrix2d normal = Eigen::Matrix2d::Zero();
    Eigen::Vector2d right = Eigen::Vector2d::Zero();
    for (int k = 0; k < instants; ++k) {
        Complex sum = 0;
        for (std::size_t i = 0; i < value.size(); ++i) {
            sum += value[i];
            value[i] *= phasor[i];
        }
        const double power = std::norm(sum);
        if (!(power > 0)) return std::nullopt;
        const Eigen::Vector2d row(1, k * dt);
        normal += power * row * row.transpose();
        right += power * 0.5 * std::log(power) * row;
    }
    const Eigen::Vector2d line = normal.ldlt().solve(right);
    const double result = -std::numbers::pi * f0 / line(1);
    return std::isfinite(result) && result > 0 ? std::optional(result) : std::nullopt;
}

}  // namespace

CrossChecks cross_checks(std::span<const ResonanceBin> bins, const ResonanceModel& model, const double* theta) {
    const auto fit = model.physical(theta);
    std::vector<Bare> bare;
    bare.reserve(bins.size());
    for (const auto& bin : bins) {
        Bare point;
        point.frequency = bin.frequency_hz;
        point.u = fit.q * (bin.frequency_hz / fit.frequency_hz - fit.frequency_hz / bin.frequency_hz);
        point.value = bin.immittance - model.background(bin.frequency_hz, theta);
        point.value /= model.factor(bin.frequency_hz, theta);
        point.sigma = bin.immittance_sigma;
        bare.push_back(point);
    }
    return {half_power(bare, fit.frequency_hz, fit.q), phase_slope(bare, fit.frequency_hz),
            ringdown(bare, fit.frequency_hz, fit.q)};
}

}  // namespace coldtune::dsp
