#include "analyzer/measure/pair_model.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/two_pi.hpp"

namespace coldtune::measure {
namespace {

using dsp::two_pi;

using Complex = std::complex<double>;
constexpr Complex j{0, 1};
constexpr std::size_t kNear = 3;

constexpr double kDescribed_u = 0.15;
// Loss rises between the square root of frequency (skin effect) and, by dielectrics and floors, about linearly; a
// tank's joints and capacitor may well be constant. Common practice, no source.
constexpr double kExponent = 0.5, kSecondaryExponent_u = 0.4, kPrimaryExponent_u = 0.5;
constexpr double kBackground_u = 0.3;

}  // namespace

PairShape shape_of(const model::TwoModes& modes) {
    return {modes.higher, kDescribed_u, kDescribed_u, true};
}

PairShape usual_shape() {
    // At resonance S_fm = 0.19 and S_mm = 0.13; seen on the coils of tests/analyzer/pair_fit_test: 0.14 to 0.28 and
    // 0.08 to 0.20.
    return {{{3.1, 1.2, 0.95, 1.15},
             {4.9, 1.2, 0.7, 1.3},
             {6.6, 1.2, 0.5, 1.5},
             {8.3, 1.2, 0.35, 1.7},
             {10, 1.2, 0.25, 1.9}},
            0.3,
            0.35,
            false};
}

PairModel::PairModel(const PairShape& shape, const PairParameters& start)
    : shape_(shape),
      scale_(start),
      // A hundredth of the first mode's own capacitance at the foot.
      background_scale_f_(0.01 * start.strength_s / (two_pi * start.secondary_hz)) {
    for (const model::HigherMode& mode : shape.higher) {
        if (near_.size() < kNear) {
            near_.push_back(mode);
            continue;
        }
        const double share = 1 / (mode.frequency_ratio * mode.frequency_ratio);
        far_.add(mode, share);
        farther_.add(mode, share * share);
    }
}

void PairModel::Sums::add(const model::HigherMode& mode, double weight) {
    fm += weight * mode.foot_ratio * mode.coupling_ratio;
    mm += weight * mode.coupling_ratio * mode.coupling_ratio;
    ff += weight * mode.foot_ratio * mode.foot_ratio;
}

void PairModel::Sums::add(const Sums& other, double weight) {
    fm += weight * other.fm;
    mm += weight * other.mm;
    ff += weight * other.ff;
}

PairModel::AllSums PairModel::sums(double x) const {
    const double square = x * x;
    AllSums s;
    s.value.add(far_, square);
    s.value.add(farther_, square * square);
    s.value_slope.add(far_, 2 * square);
    s.value_slope.add(farther_, 4 * square * square);
    for (const model::HigherMode& mode : near_) {
        const double pole = mode.frequency_ratio * mode.frequency_ratio;
        const double term = square / (pole - square);
        const double slope = 2 * term * pole / (pole - square);
        s.value.add(mode, term);
        s.value_slope.add(mode, slope);
        s.loss.add(mode, mode.loss_ratio * term * term);
        s.loss_slope.add(mode, 2 * mode.loss_ratio * term * slope);
    }
    return s;
}

Eigen::VectorXd PairModel::scaled(const PairParameters& p) const {
    Eigen::VectorXd theta(all);
    theta << scale_.primary_q * std::log(p.primary_hz / scale_.primary_hz),
        scale_.secondary_q * std::log(p.secondary_hz / scale_.secondary_hz), std::log(p.primary_q / scale_.primary_q),
        std::log(p.secondary_q / scale_.secondary_q), std::log(p.k / scale_.k),
        std::log(p.strength_s / scale_.strength_s), p.background_f / background_scale_f_,
        (p.secondary_exponent - kExponent) / kSecondaryExponent_u,
        (p.primary_exponent - kExponent) / kPrimaryExponent_u, p.background_error / kBackground_u,
        p.fm_error / shape_.fm_u, p.mm_error / shape_.mm_u;
    return theta;
}

PairParameters PairModel::physical(const double* theta) const {
    PairParameters p;
    p.primary_hz = scale_.primary_hz * std::exp(theta[primary] / scale_.primary_q);
    p.secondary_hz = scale_.secondary_hz * std::exp(theta[secondary] / scale_.secondary_q);
    p.primary_q = scale_.primary_q * std::exp(theta[primary_q]);
    p.secondary_q = scale_.secondary_q * std::exp(theta[secondary_q]);
    p.k = scale_.k * std::exp(theta[coupling]);
    p.strength_s = scale_.strength_s * std::exp(theta[strength]);
    p.background_f = theta[background] * background_scale_f_;
    p.secondary_exponent = kExponent + kSecondaryExponent_u * theta[7];
    p.primary_exponent = kExponent + kPrimaryExponent_u * theta[8];
    p.background_error = kBackground_u * theta[9];
    p.fm_error = shape_.fm_u * theta[10];
    p.mm_error = shape_.mm_u * theta[11];
    return p;
}

Complex PairModel::admittance(double frequency_hz, const double* theta, Derivatives* derivatives) const {
    return evaluate(frequency_hz, physical(theta), derivatives);
}

Complex PairModel::evaluate(double frequency_hz, const PairParameters& p, Derivatives* derivatives) const {
    const double omega = two_pi * frequency_hz;
    const double x = frequency_hz / p.secondary_hz;
    const double u = p.primary_hz / frequency_hz;
    const AllSums s = sums(x);
    const double k2 = p.k * p.k;
    const double by_fm = 1 + p.fm_error, by_mm = 1 + p.mm_error, by_ff = 1 + p.background_error;
    const double loss_b = std::pow(x, p.secondary_exponent - 1) / p.secondary_q;
    const double loss_a = std::pow(u, 1 - p.primary_exponent) / p.primary_q;
    const Complex fm = by_fm * Complex(s.value.fm, -loss_b * s.loss.fm);
    const Complex mm = by_mm * Complex(s.value.mm, -loss_b * s.loss.mm);
    const Complex ff = by_ff * Complex(s.value.ff, -loss_b * s.loss.ff);
    const Complex a(loss_b, 1 - 1 / (x * x));
    const Complex z = Complex(loss_a, 1 - u * u) + j * k2 * mm;
    const Complex determinant = a * z + k2;
    const Complex inverse = std::conj(determinant) / std::norm(determinant);
    const Complex part = (z - 2.0 * j * k2 * fm + k2 * fm * fm * a) * inverse;
    const double strength_x = p.strength_s / x;
    const Complex resonant = strength_x * (part + j * ff);
    const Complex background_y = j * (omega * p.background_f);
    if (derivatives != nullptr) {
        const Complex scale = strength_x * inverse;
        const Complex to_a = scale * (k2 * fm * fm - part * z);
        const Complex to_z = scale * (1.0 - part * a);
        const Complex to_fm = scale * k2 * (2.0 * fm * a - 2.0 * j);
        const Complex to_k2 = scale * (fm * fm * a - 2.0 * j * fm - part) + to_z * j * mm;
        const Complex to_mm = to_z * j * k2;
        const Complex to_ff = j * strength_x;
        const Complex to_loss =
            to_a - j * (to_fm * (by_fm * s.loss.fm) + to_mm * (by_mm * s.loss.mm) + to_ff * (by_ff * s.loss.ff));
        const auto slope = [&](double Sums::*of) { return Complex(s.value_slope.*of, -loss_b * s.loss_slope.*of); };
        const Complex along_x = to_a * Complex(0, 2 / (x * x)) + to_loss * ((p.secondary_exponent - 1) * loss_b) +
                                to_fm * by_fm * slope(&Sums::fm) + to_mm * by_mm * slope(&Sums::mm) +
                                to_ff * by_ff * slope(&Sums::ff) - resonant;
        auto& d = *derivatives;
        d[primary] = to_z * Complex((1 - p.primary_exponent) * loss_a, -2 * u * u) / scale_.primary_q;
        d[secondary] = -along_x / scale_.secondary_q;
        d[primary_q] = -loss_a * to_z;
        d[secondary_q] = -loss_b * to_loss;
        d[coupling] = 2 * k2 * to_k2;
        d[strength] = resonant;
        d[background] = j * (omega * background_scale_f_);
        d[7] = kSecondaryExponent_u * std::log(x) * loss_b * to_loss;
        d[8] = -kPrimaryExponent_u * std::log(u) * loss_a * to_z;
        d[9] = kBackground_u / by_ff * to_ff * ff;
        d[10] = shape_.fm_u / by_fm * to_fm * fm;
        d[11] = shape_.mm_u / by_mm * to_mm * mm;
    }
    return background_y + resonant;
}

dsp::LeastSquaresProblem PairModel::problem(const std::vector<dsp::ResonanceBin>& bins, bool with_shape) const {
    dsp::LeastSquaresProblem problem;
    problem.residuals = 2 * static_cast<Eigen::Index>(bins.size()) + priors;
    problem.parameters = with_shape ? all : parameters;
    const auto columns = static_cast<std::size_t>(problem.parameters);
    problem.evaluate = [this, &bins, columns](const double* theta, double* residuals, double* jacobian) {
        Derivatives slopes;
        std::array<double, static_cast<std::size_t>(all)> whole{};
        std::copy_n(theta, columns, whole.begin());
        const PairParameters at = physical(whole.data());
        const std::size_t rows = 2 * bins.size() + static_cast<std::size_t>(priors);
        for (std::size_t i = 0; i < bins.size(); ++i) {
            const auto& bin = bins[i];
            const Complex y = evaluate(bin.frequency_hz, at, jacobian != nullptr ? &slopes : nullptr);
            const Complex divisor = bin.c + bin.d * y;
            const Complex inverse = std::conj(divisor) / std::norm(divisor);
            const Complex residual = bin.weight * ((bin.a + bin.b * y) * inverse - bin.ratio);
            residuals[2 * i] = residual.real();
            residuals[2 * i + 1] = residual.imag();
            if (jacobian == nullptr) continue;
            const Complex through = bin.weight * bin.cross * inverse * inverse;
            for (std::size_t k = 0; k < columns; ++k) {
                const Complex entry = through * slopes[k];
                jacobian[k * rows + 2 * i] = entry.real();
                jacobian[k * rows + 2 * i + 1] = entry.imag();
            }
        }
        for (std::size_t i = 0; i < static_cast<std::size_t>(priors); ++i) {
            const std::size_t parameter = static_cast<std::size_t>(parameters - priors) + i;
            residuals[2 * bins.size() + i] = theta[parameter];
            if (jacobian == nullptr) continue;
            for (std::size_t k = 0; k < columns; ++k) {
                jacobian[k * rows + 2 * bins.size() + i] = k == parameter ? 1 : 0;
            }
        }
    };
    return problem;
}

std::array<double, 2> PairModel::resonances_hz(const PairParameters& p) const {
    const auto excess = [&](double f) {
        const double x = f / p.secondary_hz, u = p.primary_hz / f;
        const double mm = (1 + p.mm_error) * sums(x).value.mm;
        return (1 - 1 / (x * x)) * (1 - u * u + p.k * p.k * mm) - p.k * p.k;
    };
    const auto root = [&](double inside, double outside) {
        for (int i = 0; i < 200; ++i) {
            const double middle = 0.5 * (inside + outside);
            if (middle == inside || middle == outside) break;
            (excess(middle) < 0 ? inside : outside) = middle;
        }
        return 0.5 * (inside + outside);
    };
    const double low = std::min(p.primary_hz, p.secondary_hz);
    const double high = std::max(p.primary_hz, p.secondary_hz);
    double above = high;
    const double pole = near_.empty() ? 1e300 : near_.front().frequency_ratio * p.secondary_hz;
    for (int i = 0; i < 100 && excess(above) < 0; ++i) above = std::min(1.05 * above, 0.5 * (above + pole));
    return {root(low, 0.2 * low), root(high, above)};
}

Eigen::VectorXd PairModel::to_public(const double* theta) const {
    const PairParameters p = physical(theta);
    Eigen::VectorXd d(5);
    d << p.primary_hz / scale_.primary_q, p.secondary_hz / scale_.secondary_q, p.primary_q, p.secondary_q, p.k;
    return d;
}

}  // namespace coldtune::measure
