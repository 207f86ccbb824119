// Statistical efficiency: mean squared error of frequency and Q over the Cramer-Rao bound, for this program's fit and
// for what is usually done with the same data. The bound comes from the circuit alone (numerical derivatives), as in
// tests/dsp/resonance_statistics_test.cpp, where the sources are.
//
// Data: a flat sweep of 1 to 86.4 kHz at 192 kHz, -6 dBFS peak with a crest factor of 1.65, white noise of the stated
// level (rms, a full-scale sine = 0 dBFS) on both inputs, whole duration used; coil of 60 kHz and 1 kohm behind 10
// kohm. The data are 300 bins within ten bandwidths either side, drawn as ratios of known variance, and the bound is of
// these; the whole band would tell the background, and with it a frequency of a high Q, better (1.2 to 1.3 times in
// variance from a Q of 100 on), but a real coil has other modes there.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <cstdio>
#include <optional>
#include <random>
#include <variant>
#include <vector>

#include "dsp/least_squares.hpp"
#include "dsp/resonance_fit.hpp"
#include "tests/bench/figures.hpp"
#include "tests/dsp/synthetic_bench.hpp"

namespace coldtune::figures {
namespace {

using namespace coldtune::dsp;
using namespace coldtune::dsp::synthetic;

constexpr double kRate = 192000, kLow = 1000, kHigh = 86400, kPeak = 0.501, kCrest = 1.65;
constexpr double kFrequency = 60e3, kResistance = 1e3, kShunt = 15e-12;

using Truth = Eigen::Vector4d;  // f0, Q, R, shunt

Complex ratio_of(const Truth& t, double f) {
    return Divider{}.ratio(SeriesBranch{t[0], t[1], t[2], t[3]}.admittance(f), f);
}

struct Cell {
    Truth truth;
    std::vector<double> grid, variance;  // E|error|^2 of the ratio
    double peak_over_noise = 0;          // height of the conductance over its noise in the bin at the top

    Cell(double q, double noise_dbfs, double seconds) : truth(kFrequency, q, kResistance, kShunt) {
        const double half = 10 / q, root = std::sqrt(1 + half * half);
        grid = even_grid(std::max(kLow, kFrequency * (root - half)), std::min(kHigh, kFrequency * (root + half)), 300);
        const double width = grid[1] - grid[0];
        const double noise = 0.5 * std::pow(10, noise_dbfs / 10), rms = kPeak / kCrest;
        // A line of amplitude a in white noise of variance s^2 over T seconds: E|error|^2 = 4 s^2 / (rate T); the
        // sweep's power is shared by the lines of the band, those of one bin are pooled, and their number cancels.
        const double one = 2 * noise * (kHigh - kLow) / (kRate * seconds * width * rms * rms);
        for (const double f : grid) variance.push_back(one * (1 + std::norm(ratio_of(truth, f))));
        const Complex m = ratio_of(truth, kFrequency);
        // dY = -dm / (R m^2)
        const double sigma = std::sqrt(one * (1 + std::norm(m)) / 2) / (Divider{}.reference * std::norm(m));
        peak_over_noise = 20 * std::log10(1 / kResistance / sigma);
    }

    [[nodiscard]] Eigen::Matrix4d bound() const {
        Eigen::Matrix4d fisher = Eigen::Matrix4d::Zero();
        for (std::size_t i = 0; i < grid.size(); ++i) {
            Eigen::Vector4cd slope;
            for (Eigen::Index k = 0; k < 4; ++k) {
                Truth above = truth, below = truth;
                const double step = truth[k] * (k == 0 ? 1e-4 / truth[1] : 1e-4);
                above[k] += step, below[k] -= step;
                slope[k] = (ratio_of(above, grid[i]) - ratio_of(below, grid[i])) / (2 * step);
            }
            fisher += 2 / variance[i] * (slope.conjugate() * slope.transpose()).real();
        }
        const Eigen::Vector4d scale = fisher.diagonal().cwiseSqrt().cwiseInverse();
        return scale.asDiagonal() * (scale.asDiagonal() * fisher * scale.asDiagonal()).inverse() * scale.asDiagonal();
    }

    [[nodiscard]] Response draw(std::mt19937_64& random) const {
        Response response;
        response.sample_rate_hz = kRate;
        response.frequency_hz = grid;
        response.variance = variance;
        std::normal_distribution<double> normal;
        for (std::size_t i = 0; i < grid.size(); ++i) {
            const double s = std::sqrt(variance[i] / 2), re = normal(random);
            response.ratio.push_back(ratio_of(truth, grid[i]) + Complex{s * re, s * normal(random)});
        }
        response.averages = 16;
        return response;
    }
};

struct Estimate {
    double frequency_hz = 0;
    std::optional<double> q;
};
using Outcome = std::optional<Estimate>;

Outcome by_this_fit(const CorrectedResponse& data) {
    const auto outcome = fit_resonance(data, ResonanceForm::series);
    if (const auto* fit = std::get_if<ResonanceFit>(&outcome)) return Estimate{fit->frequency_hz, fit->q};
    return std::nullopt;
}

std::size_t top_of(const std::vector<double>& y) {
    return static_cast<std::size_t>(std::max_element(y.begin(), y.end()) - y.begin());
}

// Highest conductance, and where it has fallen to half on either side, on straight lines between bins.
Outcome by_half_power(const CorrectedResponse& data, const std::vector<double>& y) {
    const auto& f = data.frequency_hz;
    const std::size_t top = top_of(y);
    std::size_t low = top, high = top;
    while (low > 0 && y[low] > y[top] / 2) --low;
    while (high + 1 < y.size() && y[high] > y[top] / 2) ++high;
    if (low == top || high == top || y[low] > y[top] / 2 || y[high] > y[top] / 2) return std::nullopt;
    const auto crossing = [&](std::size_t a, std::size_t b) {
        return f[a] + (y[top] / 2 - y[a]) / (y[b] - y[a]) * (f[b] - f[a]);
    };
    const double left = crossing(low, low + 1), right = crossing(high, high - 1);
    return Estimate{std::sqrt(left * right), std::sqrt(left * right) / (right - left)};
}

// The parabola through the three highest bins.
Outcome by_parabola(const CorrectedResponse& data, const std::vector<double>& y) {
    const std::size_t top = top_of(y);
    if (top == 0 || top + 1 == y.size()) return std::nullopt;
    const double bend = y[top - 1] - 2 * y[top] + y[top + 1], tilt = (y[top - 1] - y[top + 1]) / 2;
    return Estimate{data.frequency_hz[top] + tilt / bend * (data.frequency_hz[top + 1] - data.frequency_hz[top]), {}};
}

// Weighted least squares on |ratio|, started at the truth: the best that can be done without phase.
Outcome by_magnitude(const Cell& cell, const Response& response) {
    LeastSquaresProblem problem;
    problem.residuals = static_cast<Eigen::Index>(cell.grid.size());
    problem.parameters = 4;
    const auto at = [&](const double* p) {
        return Truth(cell.truth[0] * std::exp(p[0] / cell.truth[1]), cell.truth[1] * std::exp(p[1]),
                     cell.truth[2] * std::exp(p[2]), cell.truth[3] * (1 + p[3]));
    };
    const auto magnitudes = [&](const double* p, double* out) {
        const Truth t = at(p);
        for (std::size_t i = 0; i < cell.grid.size(); ++i) {
            out[i] =
                (std::abs(ratio_of(t, cell.grid[i])) - std::abs(response.ratio[i])) / std::sqrt(cell.variance[i] / 2);
        }
    };
    problem.evaluate = [&](const double* p, double* residuals, double* jacobian) {
        magnitudes(p, residuals);
        if (jacobian == nullptr) return;
        const std::size_t n = cell.grid.size();
        std::vector<double> above(n), below(n);
        for (std::size_t k = 0; k < 4; ++k) {
            constexpr double step = 1e-5;
            Eigen::Vector4d moved = Eigen::Map<const Eigen::Vector4d>(p);
            moved[static_cast<Eigen::Index>(k)] += step;
            magnitudes(moved.data(), above.data());
            moved[static_cast<Eigen::Index>(k)] -= 2 * step;
            magnitudes(moved.data(), below.data());
            for (std::size_t i = 0; i < n; ++i) jacobian[k * n + i] = (above[i] - below[i]) / (2 * step);
        }
    };
    LeastSquaresOptions options;
    options.cost_tolerance = 1e-5;  // of chi square: a hundredth of a standard deviation would show as 1e-4
    const auto found = minimise(problem, Eigen::Vector4d::Zero(), options);
    if (!found || !found->converged()) return std::nullopt;
    const Truth t = at(found->parameters.data());
    return Estimate{t[0], t[1]};
}

struct Tally {
    double f2 = 0, q2 = 0;
    int count = 0, with_q = 0;

    void add(const Outcome& outcome, const Truth& truth) {
        if (!outcome) return;
        f2 += std::pow(outcome->frequency_hz - truth[0], 2);
        ++count;
        if (!outcome->q) return;
        q2 += std::pow(*outcome->q - truth[1], 2);
        ++with_q;
    }
    void print(const Eigen::Matrix4d& bound, int runs) const {
        if (2 * count < runs) {
            std::printf("      -       - ");
            return;
        }
        std::printf(" %7.3g", f2 / count / bound(0, 0));
        if (with_q > 0) {
            std::printf(" %7.3g", q2 / with_q / bound(1, 1));
        } else {
            std::printf("       -");
        }
    }
};

}  // namespace

void print_efficiency(int runs) {
    const int others = std::max(10, runs / 10);
    std::printf(
        "mean squared error / Cramer-Rao bound of f0 and of Q; %d runs of this fit (a ratio of 1 scatters by %.1f %%), "
        "%d\n"
        "of the others; '-': no result in more than half of the runs; peak: height of the conductance over the noise "
        "of\n"
        "its bin\n\n"
        "    Q  noise  time    peak |    this fit     |   half power    |    parabola     | magnitude only\n"
        "        dBFS     s      dB |     f0       Q  |     f0       Q  |     f0       Q  |     f0       Q\n",
        runs, 100 * std::sqrt(2.0 / runs), others);
    double worst = 0, sum = 0;
    int cells = 0;
    std::mt19937_64 random(20090);
    for (const double q : {5.0, 20.0, 100.0, 500.0}) {
        // The last one where the peak stands just 20 dB above the noise: 1 dB more of noise is 1 dB less of that.
        for (const double noise : {-60.0, -80.0, -100.0, -120.0, -80 + Cell(q, -60, 0.1).peak_over_noise}) {
            for (const double seconds : {0.1, 1.0, 10.0}) {
                if (noise > -60 && seconds > 0.1) continue;
                const Cell cell(q, noise, seconds);
                const Eigen::Matrix4d bound = cell.bound();
                Tally ours, half, parabola, magnitude;
                for (int run = 0; run < runs; ++run) {
                    const Response response = cell.draw(random);
                    const auto data = correct(response, {}, Divider{}.declared());
                    std::vector<double> conductance;
                    for (const Complex z : data->impedance) conductance.push_back((1.0 / z).real());
                    ours.add(by_this_fit(*data), cell.truth);
                    if (run >= others) continue;
                    half.add(by_half_power(*data, conductance), cell.truth);
                    parabola.add(by_parabola(*data, conductance), cell.truth);
                    magnitude.add(by_magnitude(cell, response), cell.truth);
                }
                std::printf("%5.0f %6.1f %5.1f %7.1f |", q, noise, seconds, cell.peak_over_noise);
                for (const Tally* tally : {&ours, &half, &parabola, &magnitude}) {
                    tally->print(bound, tally == &ours ? runs : others);
                    std::printf(tally == &magnitude ? "\n" : "  |");
                }
                std::fflush(stdout);
                if (cell.peak_over_noise > 19.99 && ours.count > 0) {
                    const double f = ours.f2 / ours.count / bound(0, 0), sharp = ours.q2 / ours.with_q / bound(1, 1);
                    worst = std::max({worst, f, sharp});
                    sum += f + sharp;
                    cells += 2;
                }
            }
        }
    }
    std::printf(
        "\nthis fit where the peak stands 20 dB or more above the noise: mean %.3f, largest of %d %.3f (of as many "
        "exact\n"
        "ones chance alone makes the largest about %.3f)\n",
        sum / cells, cells, worst, 1 + 2.5 * std::sqrt(2.0 / runs));
}

}  // namespace coldtune::figures
