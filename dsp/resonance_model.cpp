#include "dsp/resonance_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/is_finite.hpp"
#include "dsp/two_pi.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;
constexpr Complex j{0, 1};
constexpr double smallest_relative_error = 1e-12;

}  // namespace

std::vector<ResonanceBin> usable_bins(const CorrectedResponse& data, ResonanceForm form) {
    const std::size_t n =
        std::min({data.frequency_hz.size(), data.ratio.size(), data.ratio_variance.size(), data.map.size()});
    double largest = 0;
    for (std::size_t i = 0; i < n; ++i) {
        if (is_finite(data.ratio[i])) largest = std::max(largest, std::norm(data.ratio[i]));
    }
    const double floor = std::max(smallest_relative_error * smallest_relative_error * largest, 1e-300);
    std::vector<ResonanceBin> bins;
    bins.reserve(n);
    for (std::size_t i = 0; i < n; ++i) {
        const auto& map = data.map[i];
        ResonanceBin bin;
        bin.frequency_hz = data.frequency_hz[i];
        bin.ratio = data.ratio[i];
        bin.ratio_variance = std::max(data.ratio_variance[i], floor);
        if (form == ResonanceForm::series) {
            bin.a = map.p, bin.b = map.q, bin.c = map.r, bin.d = map.s;
        } else {
            bin.a = map.q, bin.b = map.p, bin.c = map.s, bin.d = map.r;
        }
        const Complex divisor = bin.b - bin.d * bin.ratio;
        bin.immittance = (bin.c * bin.ratio - bin.a) / divisor;
        bin.cross = bin.b * bin.c - bin.a * bin.d;
        bin.weight = std::sqrt(2 / bin.ratio_variance);
        const double slope = std::sqrt(std::norm(bin.cross)) / std::norm(divisor);
        bin.immittance_sigma = slope * std::sqrt(bin.ratio_variance / 2);
        const bool good = bin.frequency_hz > 0 && std::isfinite(bin.frequency_hz) && is_finite(bin.ratio) &&
                          std::isfinite(bin.ratio_variance) && is_finite(bin.immittance) &&
                          std::isfinite(bin.immittance_sigma) && bin.immittance_sigma > 0;
        if (good) bins.push_back(bin);
    }
    return bins;
}

ResonanceModel::ResonanceModel(ResonanceForm form, ResonanceTerms terms, bool series_loss,
                               const ResonanceParameters& start)
    : form_(form),
      terms_(terms),
      series_loss_(series_loss && form == ResonanceForm::parallel),
      scale_(start),
      background_scale_(start.height / (two_pi * start.frequency_hz)),
      parameters_(4) {
    if (form_ == ResonanceForm::parallel) offset_at_ = parameters_++;
    if (terms_.curvature) slope_at_ = parameters_++;
    if (terms_.tilt) tilt_at_ = parameters_++;
}

Eigen::VectorXd ResonanceModel::scaled(const ResonanceParameters& physical) const {
    Eigen::VectorXd theta(parameters_);
    theta(0) = scale_.q * std::log(physical.frequency_hz / scale_.frequency_hz);
    theta(1) = std::log(physical.q / scale_.q);
    theta(2) = physical.height / scale_.height;
    const double x = scale_.frequency_hz / physical.frequency_hz;
    const double slope = slope_at_ != 0 ? physical.slope : 0.0;
    theta(3) = (physical.background + slope * (x * x - 1)) / background_scale_;
    if (offset_at_ != 0) theta(offset_at_) = physical.offset / scale_.height;
    if (slope_at_ != 0) theta(slope_at_) = slope * x * x / background_scale_;
    if (tilt_at_ != 0) theta(tilt_at_) = physical.tilt;
    return theta;
}

ResonanceParameters ResonanceModel::physical(const double* theta) const {
    ResonanceParameters result;
    result.frequency_hz = scale_.frequency_hz * std::exp(theta[0] / scale_.q);
    result.q = scale_.q * std::exp(theta[1]);
    result.height = theta[2] * scale_.height;
    result.background = theta[3] * background_scale_;
    if (offset_at_ != 0) result.offset = theta[offset_at_] * scale_.height;
    if (slope_at_ != 0) {
        const double x = result.frequency_hz / scale_.frequency_hz;
        result.slope = theta[slope_at_] * x * x * background_scale_;
        result.background += theta[slope_at_] * (x * x - 1) * background_scale_;
    }
    if (tilt_at_ != 0) result.tilt = theta[tilt_at_];
    return result;
}

std::complex<double> ResonanceModel::background(double frequency_hz, const double* theta) const {
    const double x = frequency_hz / scale_.frequency_hz;
    double element = theta[3];
    if (slope_at_ != 0) element += theta[slope_at_] * (x * x - 1);
    return scale_.height * Complex{offset_at_ != 0 ? theta[offset_at_] : 0.0, x * element};
}

std::complex<double> ResonanceModel::factor(double frequency_hz, const double* theta) const {
    const auto now = physical(theta);
    return {1.0, -(now.tilt + (series_loss_ ? 1 / now.q : 0.0)) * now.frequency_hz / frequency_hz};
}

ResonanceModel::Shared ResonanceModel::shared(const double* theta) const {
    Shared result;
    result.f0 = std::exp(theta[0] / scale_.q);
    result.q = scale_.q * std::exp(theta[1]);
    result.tilt = (tilt_at_ != 0 ? theta[tilt_at_] : 0.0) + (series_loss_ ? 1 / result.q : 0.0);
    return result;
}

std::complex<double> ResonanceModel::immittance(double frequency_hz, const double* theta,
                                                Derivatives* derivatives) const {
    return evaluate(frequency_hz, theta, shared(theta), derivatives);
}

std::complex<double> ResonanceModel::evaluate(double frequency_hz, const double* theta, const Shared& shared,
                                              Derivatives* derivatives) const {
    const double x = frequency_hz / scale_.frequency_hz;
    const auto [f0, q, g] = shared;
    const double up = x / f0;
    const double down = f0 / x;
    const double u = q * (up - down);
    const double denominator = 1 + u * u;
    const Complex line{1 / denominator, -u / denominator};
    const Complex turn{1.0, -g * down};
    const Complex shape = line * turn;
    if (derivatives != nullptr) {
        auto& d = *derivatives;
        const Complex by_u = -j * line * line * turn;
        d[0] = by_u * (-q * (up + down) / scale_.q);
        d[1] = by_u * u;
        if (g != 0) d[0] += line * Complex{0.0, -g * down / scale_.q};
        if (series_loss_) d[1] += line * Complex{0.0, down / q};
        d[0] *= theta[2] * scale_.height;
        d[1] *= theta[2] * scale_.height;
        d[2] = shape * scale_.height;
        d[3] = Complex{0.0, x * scale_.height};
        if (offset_at_ != 0) d[static_cast<std::size_t>(offset_at_)] = scale_.height;
        if (slope_at_ != 0) d[static_cast<std::size_t>(slope_at_)] = Complex{0.0, x * (x * x - 1) * scale_.height};
        if (tilt_at_ != 0)
            d[static_cast<std::size_t>(tilt_at_)] = line * Complex{0.0, -down * theta[2] * scale_.height};
    }
    return background(frequency_hz, theta) + theta[2] * scale_.height * shape;
}

// c0 + c1 ((f/f_ref)^2 - 1) = C (1 + b (f/f0)^2) gives C = c0 - c1 and b = c1 (f0/f_ref)^2 / (c0 - c1).
double ResonanceModel::public_background(const double* theta) const {
    return background_scale_ * (theta[3] - (slope_at_ != 0 ? theta[slope_at_] : 0.0));
}

double ResonanceModel::public_curvature(const double* theta) const {
    if (slope_at_ == 0) return 0;
    const double f0 = std::exp(theta[0] / scale_.q);
    return theta[slope_at_] * f0 * f0 / (theta[3] - theta[slope_at_]);
}

Eigen::MatrixXd ResonanceModel::to_public(const double* theta) const {
    const auto now = physical(theta);
    Eigen::MatrixXd t = Eigen::MatrixXd::Zero(5, parameters_);
    t(0, 0) = now.frequency_hz / scale_.q;
    t(1, 1) = now.q;
    // R is the inverse of the height in the series form.
    t(2, 2) = form_ == ResonanceForm::series ? -scale_.height / (now.height * now.height) : scale_.height;
    t(3, 3) = background_scale_;
    if (slope_at_ != 0) {
        t(3, slope_at_) = -background_scale_;
        const double b = public_curvature(theta);
        const double base = theta[3] - theta[slope_at_];
        const double f0 = std::exp(theta[0] / scale_.q);
        t(4, 0) = 2 * b / scale_.q;
        t(4, 3) = -b / base;
        t(4, slope_at_) = f0 * f0 / base + b / base;
    }
    return t;
}

}  // namespace coldtune::dsp
