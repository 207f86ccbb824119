#include "dsp/ringdown.hpp"

#include <fmt/format.h>

#include <Eigen/Cholesky>
#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

#include "dsp/fft.hpp"
#include "dsp/least_squares.hpp"
#include "dsp/statistics.hpp"
#include "dsp/two_pi.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;
constexpr std::size_t least_frames = 16;
constexpr double decays_used = 14;

// Radians and nepers per frame.
struct Pole {
    double turn = 0, decay = 0;
};

// Solves the linear part (cosine, sine, offset) for a given pole. Returns the sum of squares left.
double linear_part(std::span<const double> x, Pole pole, Eigen::Vector3d& out) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    Eigen::Vector3d right = Eigen::Vector3d::Zero();
    double energy = 0;
    const Complex step = std::exp(Complex{-pole.decay, pole.turn});
    Complex now = 1;
    for (const double value : x) {
        const Eigen::Vector3d row(now.real(), now.imag(), 1);
        normal += row * row.transpose();
        right += value * row;
        energy += value * value;
        now *= step;
    }
    out = normal.ldlt().solve(right);
    return energy - out.dot(right);
}

// Frequency from the largest line of the spectrum (padded fourfold, so that no line falls between bins by more than an
// eighth of its width), decay from a search over all that the record can show.
std::optional<Pole> start_pole(std::span<const double> x, double sample_rate_hz, const std::optional<Band>& band) {
    const std::size_t padded = std::bit_ceil(x.size()) * 4;
    RealFft transform(padded);
    const auto time = transform.time();
    std::fill(time.begin(), time.end(), 0.0);
    double mean = 0;
    for (const double value : x) mean += value / static_cast<double>(x.size());
    std::transform(x.begin(), x.end(), time.begin(), [mean](double value) { return value - mean; });
    transform.forward();
    const auto spectrum = transform.spectrum();
    const double bin_hz = sample_rate_hz / static_cast<double>(padded);
    std::size_t top = 0;
    for (std::size_t i = 1; i + 1 < transform.bins(); ++i) {
        const double f = static_cast<double>(i) * bin_hz;
        if (band && (f < band->low_hz || f > band->high_hz)) continue;
        if (top == 0 || std::norm(spectrum[i]) > std::norm(spectrum[top])) top = i;
    }
    if (top == 0) return std::nullopt;
    const double left = std::abs(spectrum[top - 1]);
    const double here = std::abs(spectrum[top]);
    const double right = std::abs(spectrum[top + 1]);
    const double bend = left - 2 * here + right;
    const double shift = bend < 0 ? std::clamp(0.5 * (left - right) / bend, -0.5, 0.5) : 0.0;
    Pole best{two_pi * (static_cast<double>(top) + shift) / static_cast<double>(padded), 0};
    double least = std::numeric_limits<double>::infinity();
    for (double decay = 0.05 / static_cast<double>(x.size()); decay < best.turn; decay *= 2) {
        Eigen::Vector3d unused;
        const double left_over = linear_part(x, {best.turn, decay}, unused);
        if (left_over < least) {
            least = left_over;
            best.decay = decay;
        }
    }
    return best;
}

struct Ringing {
    LeastSquaresSolution solution;
    Eigen::MatrixXd covariance;  // of theta, with the variance left over
    double noise_rms = 0;
};

// theta = ((turn - start turn)/start decay, decay/start decay, cosine, sine, offset in units of the start amplitude).
LeastSquaresProblem ringing_problem(std::span<const double> x, Pole start, double amplitude, double noise) {
    LeastSquaresProblem problem;
    problem.residuals = static_cast<Eigen::Index>(x.size());
    problem.parameters = 5;
    problem.evaluate = [=](const double* theta, double* residuals, double* jacobian) {
        const double scale = amplitude / noise;
        const Complex step = std::exp(Complex{-start.decay * theta[1], start.turn + start.decay * theta[0]});
        Complex now = 1;
        const std::size_t n = x.size();
        for (std::size_t i = 0; i < n; ++i) {
            const double wave = theta[2] * now.real() + theta[3] * now.imag();
            residuals[i] = scale * (wave + theta[4]) - x[i] / noise;
            if (jacobian != nullptr) {
                const double elapsed = static_cast<double>(i) * start.decay;
                jacobian[i] = scale * elapsed * (theta[3] * now.real() - theta[2] * now.imag());
                jacobian[n + i] = -scale * elapsed * wave;
                jacobian[2 * n + i] = scale * now.real();
                jacobian[3 * n + i] = scale * now.imag();
                jacobian[4 * n + i] = scale;
            }
            now *= step;
        }
    };
    return problem;
}

std::optional<Ringing> solve(std::span<const double> x, Pole start, double amplitude, const Eigen::VectorXd& theta,
                             double noise) {
    Ringing ringing;
    Eigen::VectorXd at = theta;
    // Twice: the second time with the noise the first left over, so that the solver's stop is in units of it.
    for (int pass = 0; pass < 2; ++pass) {
        const auto problem = ringing_problem(x, start, amplitude, noise);
        auto solution = minimise(problem, at);
        if (!solution || !solution->converged()) return std::nullopt;
        auto covariance = covariance_at(problem, solution->parameters);
        if (!covariance) return std::nullopt;
        const double freedom = static_cast<double>(problem.residuals - problem.parameters);
        const double excess = solution->chi_square / freedom;
        ringing.covariance = *covariance * excess;
        ringing.noise_rms = noise * std::sqrt(excess);
        at = solution->parameters;
        ringing.solution = std::move(*solution);
        // A record without noise leaves rounding only.
        noise = std::max(ringing.noise_rms, 1e-15 * amplitude);
    }
    return ringing;
}

Result<std::span<const double>> stretch(std::span<const double> signal, double sample_rate_hz,
                                        const RingdownOptions& options, std::size_t& first) {
    if (!(sample_rate_hz > 0) || !std::isfinite(sample_rate_hz)) {
        return bad_input("the ring-down has no sample rate: state it");
    }
    if (!std::all_of(signal.begin(), signal.end(), [](double value) { return std::isfinite(value); })) {
        return bad_input("the ring-down holds samples that are not numbers: record it again");
    }
    first = options.first_frame.value_or(static_cast<std::size_t>(
        std::max_element(signal.begin(), signal.end(), [](double a, double b) { return std::abs(a) < std::abs(b); }) -
        signal.begin()));
    if (first > signal.size() || options.frames.value_or(0) > signal.size() - first) {
        return bad_input(fmt::format("the ring-down's range ends beyond the {} frames recorded", signal.size()));
    }
    const auto x = signal.subspan(first, options.frames.value_or(signal.size() - first));
    if (x.size() < least_frames) {
        return bad_input(fmt::format("{} frames of ring-down are too few, {} are needed: record longer after the burst",
                                     x.size(), least_frames));
    }
    return x;
}

}  // namespace

Result<RingdownFit> fit_ringdown(std::span<const double> signal, double sample_rate_hz,
                                 const RingdownOptions& options) {
    std::size_t first = 0;
    const auto range = stretch(signal, sample_rate_hz, options, first);
    if (!range) return range.error();
    std::span<const double> x = *range;
    const Error silent = rejected("nothing rings after the burst: raise the level or check the hookup");
    if (std::all_of(x.begin(), x.end(), [&](double value) { return value == x.front(); })) return silent;
    const auto start = start_pole(x, sample_rate_hz, options.band);
    if (!start) return bad_input("the ring-down's band holds no frequency below half the sample rate: widen it");
    if (!(start->decay > 0)) return silent;
    const auto used = static_cast<std::size_t>(std::min(static_cast<double>(x.size()), decays_used / start->decay));
    x = x.first(std::max(used, least_frames));

    Eigen::Vector3d linear;
    const double left_over = linear_part(x, *start, linear);
    const double amplitude = std::hypot(linear(0), linear(1));
    if (!(amplitude > 0) || !std::isfinite(amplitude)) return silent;
    const double noise =
        std::max(std::sqrt(std::max(left_over, 0.0) / static_cast<double>(x.size())), 1e-15 * amplitude);
    Eigen::VectorXd theta(5);
    theta << 0, 1, linear(0) / amplitude, linear(1) / amplitude, linear(2) / amplitude;
    const auto ringing = solve(x, *start, amplitude, theta, noise);
    if (!ringing) return rejected("the fit of the ring-down did not settle: record it with less noise");

    const Eigen::VectorXd& at = ringing->solution.parameters;
    const double size = std::hypot(at(2), at(3));
    const Eigen::Vector2d direction(at(2) / size, at(3) / size);
    const double size_u = std::sqrt(direction.dot(ringing->covariance.block<2, 2>(2, 2) * direction));
    const double turn = start->turn + start->decay * at(0);
    if (!(size > options.detection_sigma * size_u) || !(turn > 0) || !(turn < std::numbers::pi)) return silent;
    // Fewer than three standard deviations of decay: the record is too short to show one.
    if (!(at(1) > 3 * std::sqrt(ringing->covariance(1, 1)))) {
        return rejected("the ring-down shows no decay within its frames: record longer after the burst");
    }

    RingdownFit fit;
    Estimates pole{at.head(2), ringing->covariance.topLeftCorner(2, 2)};
    const auto outcome = propagate(pole, [&](const Eigen::VectorXd& p) {
        const double ringing_hz = (start->turn + start->decay * p(0)) * sample_rate_hz / two_pi;
        const double tau = 1 / (start->decay * p(1) * sample_rate_hz);
        const double f0 = std::hypot(ringing_hz, 1 / (two_pi * tau));
        return Eigen::VectorXd(Eigen::Vector4d(f0, std::numbers::pi * f0 * tau, ringing_hz, tau));
    });
    fit.frequency_hz = outcome.value(0);
    fit.q = outcome.value(1);
    fit.ringing_frequency_hz = outcome.value(2);
    fit.decay_time_s = outcome.value(3);
    fit.covariance = outcome.covariance;
    fit.frequency_u_hz = outcome.standard_uncertainty(0);
    fit.q_u = outcome.standard_uncertainty(1);
    fit.amplitude = size * amplitude;
    fit.phase_rad = std::atan2(-at(3), at(2));
    fit.offset = at(4) * amplitude;
    fit.noise_rms = ringing->noise_rms;
    fit.first_frame = first;
    fit.frames = x.size();
    return fit;
}

}  // namespace coldtune::dsp
