#include "dsp/scatter_noise.hpp"

#include <algorithm>
#include <cmath>

namespace coldtune::dsp {
namespace {

// Quantile of chi-square / degrees at a normal deviate z (Wilson & Hilferty, PNAS 17, 684, 1931): within 6 % in the
// tail at 2 degrees, closer above.
double chi_square_ratio(double real_degrees, double z) {
    const double spread = 2.0 / (9.0 * real_degrees);
    const double root = 1.0 - spread + z * std::sqrt(spread);
    return root > 0 ? root * root * root : 0.0;
}

// One bin in 10^4 of clean noise is left out: lowers the pooled value by 0.1 % at most.
constexpr double left_out_z = 3.72;
// Own scatter is believed against the pool when chance would do it once in 3e5 bins.
constexpr double spoiled_z = 4.5;

struct Windows {
    std::size_t half = 0;
    std::size_t step = 1;
    std::size_t bins = 0;

    // Wide enough for about 400 real degrees of freedom (a variance good to 7 %), never under 25 nor over 201 bins.
    Windows(std::size_t bin_count, std::size_t degrees) : bins(bin_count) {
        half = std::clamp<std::size_t>(100 / std::max<std::size_t>(1, degrees), 12, 100);
        step = 2 * half;
    }
    [[nodiscard]] std::size_t nodes() const { return bins <= 1 ? 1 : (bins - 2) / step + 2; }
    [[nodiscard]] std::size_t centre(std::size_t node) const { return std::min(node * step, bins - 1); }
    // Always the same width where there are enough bins: shifted inward at the ends.
    [[nodiscard]] std::size_t first(std::size_t node) const {
        const std::size_t c = centre(node);
        const std::size_t low = c > half ? c - half : 0;
        return bins > 2 * half + 1 ? std::min(low, bins - (2 * half + 1)) : 0;
    }
    [[nodiscard]] std::size_t last(std::size_t node) const { return std::min(bins, first(node) + 2 * half + 1); }

    // Linear between the nodes.
    template <typename Value>
    void spread(Value&& value_at, std::vector<double>& out) const {
        out.resize(bins);
        for (std::size_t node = 0; node < nodes(); ++node) {
            const std::size_t from = centre(node);
            const std::size_t to = node + 1 < nodes() ? centre(node + 1) : bins;
            const double width = static_cast<double>(std::max<std::size_t>(1, to - from));
            for (std::size_t i = from; i < to; ++i) {
                const double t = node + 1 < nodes() ? static_cast<double>(i - from) / width : 0.0;
                out[i] = value_at(node, i) * (1 - t) + (t > 0 ? value_at(node + 1, i) * t : 0.0);
            }
        }
    }
};

double median_in_place(std::vector<double>& values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

struct Pair {
    double coil = 0;
    double generator = 0;
    [[nodiscard]] double at(double ratio_power) const { return coil + generator * ratio_power; }
};

// s2 and s1 in one window. Three sources, each unbiased: the regression of |r|^2 on |m|^2, immune to noise of the
// source but weak on s1 and s2 apart where |m| hardly changes; and the two parts measured directly, weak where noise of
// the source is large. Each is weighted by the inverse of its own variance.
Pair solve_window(const BinScatter& scatter, std::size_t first, std::size_t last, const std::vector<char>& keep) {
    double n = 0, suu = 0, suv = 0, svv = 0, suy = 0, svy = 0, sy = 0, a = 0, weight = 0, b = 0;
    for (std::size_t i = first; i < last; ++i) {
        if (keep[i] == 0) continue;
        const double g = scatter.ratio_power[i];
        const double u = 1 / (1 + g), v = g / (1 + g), y = scatter.rest[i] * u;
        n += 1, suu += u * u, suv += u * v, svv += v * v, suy += u * y, svy += v * y, sy += y;
        a += scatter.coil_part[i];
        weight += v;
        b += v * scatter.generator_part[i];
    }
    if (n < 1 || !(sy > 0)) return {};
    a /= n;
    b = weight > 0 ? b / weight : 0.0;
    double a2 = 0, b2 = 0;
    for (std::size_t i = first; i < last; ++i) {
        if (keep[i] == 0) continue;
        const double v = scatter.ratio_power[i] / (1 + scatter.ratio_power[i]);
        a2 += (scatter.coil_part[i] - a) * (scatter.coil_part[i] - a);
        b2 += v * v * (scatter.generator_part[i] - b) * (scatter.generator_part[i] - b);
    }
    const double mean_y = sy / n;
    const double per_y =
        static_cast<double>(scatter.degrees) / (mean_y * mean_y);  // 1 / var(y), y of 2 deg real degrees
    const double tiny = 1e-12 * mean_y * mean_y;
    const double per_a = n > 1 ? 1 / (a2 / (n * (n - 1)) + tiny) : 0.0;
    const double per_b = n > 1 && weight > 0 ? 1 / (b2 / (weight * weight) + tiny) : 0.0;
    const double m11 = per_y * suu + per_a, m22 = per_y * svv + per_b, m12 = per_y * suv;
    const double r1 = per_y * suy + per_a * a, r2 = per_y * svy + per_b * b;
    const double determinant = m11 * m22 - m12 * m12;
    Pair pair;
    if (determinant > 1e-12 * m11 * m22) {
        pair.coil = (r1 * m22 - r2 * m12) / determinant;
        pair.generator = (r2 * m11 - r1 * m12) / determinant;
    } else {
        pair.coil = pair.generator = mean_y;  // nothing tells them apart: equal inputs
    }
    if (pair.coil < 0) pair = {0.0, svv > 0 ? svy / svv : 0.0};
    if (pair.generator < 0) pair = {suy / suu, 0.0};
    return pair;
}

}  // namespace

std::vector<double> pooled_power(std::span<const double> power, std::size_t degrees) {
    std::vector<double> pooled;
    if (power.empty()) return pooled;
    const double real_degrees = 2.0 * static_cast<double>(degrees);
    const double median_ratio = chi_square_ratio(real_degrees, 0.0);
    const double cut = chi_square_ratio(real_degrees, left_out_z);
    const Windows windows(power.size(), degrees);
    std::vector<double> node(windows.nodes());
    std::vector<double> scratch;
    for (std::size_t w = 0; w < node.size(); ++w) {
        const auto part = power.subspan(windows.first(w), windows.last(w) - windows.first(w));
        scratch.assign(part.begin(), part.end());
        const double guess = median_in_place(scratch) / median_ratio;
        double sum = 0;
        std::size_t count = 0;
        for (const double value : part) {
            // The guess from a median is good to 10 or 20 %: 1.3 keeps clean bins in.
            if (value > 1.3 * cut * guess) continue;
            sum += value;
            ++count;
        }
        node[w] = count > 0 ? sum / static_cast<double>(count) : 0.0;
    }
    windows.spread([&](std::size_t w, std::size_t) { return node[w]; }, pooled);
    const double spoiled = chi_square_ratio(real_degrees, spoiled_z);
    for (std::size_t i = 0; i < pooled.size(); ++i)
        if (power[i] > spoiled * pooled[i]) pooled[i] = power[i];
    return pooled;
}

std::vector<double> pooled_rest(const BinScatter& scatter) {
    const std::size_t bins = scatter.rest.size();
    std::vector<double> pooled;
    if (bins == 0) return pooled;
    const double real_degrees = 2.0 * static_cast<double>(scatter.degrees);
    const double median_ratio = chi_square_ratio(real_degrees, 0.0);
    const double cut = chi_square_ratio(real_degrees, left_out_z);
    const Windows windows(bins, scatter.degrees);
    std::vector<Pair> node(windows.nodes());
    std::vector<char> keep(bins, 1);
    std::vector<double> scratch;
    // First with the two noises taken as equal, then against what that gave: a bin is left out only for standing above
    // what its own |m| explains.
    for (std::size_t w = 0; w < node.size(); ++w) {
        const std::size_t first = windows.first(w), last = windows.last(w);
        scratch.clear();
        for (std::size_t i = first; i < last; ++i) scratch.push_back(scatter.rest[i] / (1 + scatter.ratio_power[i]));
        const double guess = median_in_place(scratch) / median_ratio;
        for (std::size_t i = first; i < last; ++i)
            keep[i] = scatter.rest[i] <= 2.5 * cut * guess * (1 + scatter.ratio_power[i]) ? 1 : 0;
        node[w] = solve_window(scatter, first, last, keep);
        for (std::size_t i = first; i < last; ++i)
            keep[i] = scatter.rest[i] <= cut * node[w].at(scatter.ratio_power[i]) ? 1 : 0;
        node[w] = solve_window(scatter, first, last, keep);
    }
    windows.spread([&](std::size_t w, std::size_t i) { return node[w].at(scatter.ratio_power[i]); }, pooled);
    const double spoiled = chi_square_ratio(real_degrees, spoiled_z);
    for (std::size_t i = 0; i < bins; ++i)
        if (scatter.rest[i] > spoiled * pooled[i]) pooled[i] = scatter.rest[i];
    return pooled;
}

}  // namespace coldtune::dsp
