#include "dsp/peak_search.hpp"

#include <algorithm>
#include <cmath>

namespace coldtune::dsp {
namespace {

double median_of(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

// Sums over any run of values in constant time: running sums, each kept with what its rounding lost. Weights span
// twenty decades where a coil is seen through a far larger resistor, and the lightest bins, at the top of the peak,
// would drown in the rounding of the heavy ones before them (two-sum: D. E. Knuth, The Art of Computer Programming
// 2, 4.2.2, from memory).
class RunningSums {
public:
    explicit RunningSums(std::size_t count) { high_.reserve(count + 1), low_.reserve(count + 1); }
    void add(double value) {
        const double before = high_.back(), sum = before + value, taken = sum - before;
        low_.push_back(low_.back() + ((before - (sum - taken)) + (value - taken)));
        high_.push_back(sum);
    }
    // Values [first, last).
    [[nodiscard]] double over(std::size_t first, std::size_t last) const {
        return (high_[last] - high_[first]) + (low_[last] - low_[first]);
    }

private:
    std::vector<double> high_{0}, low_{0};
};

// Weighted sums over any run of bins in constant time.
class Blocks {
public:
    explicit Blocks(std::span<const ResonanceBin> bins)
        : frequency_(bins.size()),
          value_(bins.size()),
          weight_(bins.size()),
          by_frequency_(bins.size()),
          by_value_(bins.size()) {
        const std::size_t n = bins.size();
        std::vector<double> sigma(n);
        for (std::size_t i = 0; i < n; ++i) {
            frequency_[i] = bins[i].frequency_hz;
            sigma[i] = bins[i].immittance_sigma;
        }
        const auto raw = [&](std::size_t i) { return bins[i].immittance.real(); };
        for (std::size_t i = 0; i < n; ++i) {
            const double left = raw(i > 0 ? i - 1 : std::min<std::size_t>(2, n - 1));
            const double right = raw(i + 1 < n ? i + 1 : n - std::min<std::size_t>(3, n));
            value_[i] = std::max(std::min(left, right), std::min(std::max(left, right), raw(i)));
        }
        // A datum's own value sets how its noise is enlarged, so a datum that is low by chance also looks quiet. No bin
        // is believed to be quieter than the middle of its neighbourhood.
        constexpr std::size_t neighbourhood = 16;
        for (std::size_t i = 0; i < n; i += neighbourhood) {
            const auto first = sigma.begin() + static_cast<std::ptrdiff_t>(i);
            const auto last = sigma.begin() + static_cast<std::ptrdiff_t>(std::min(n, i + neighbourhood));
            const double usual = median_of({first, last});
            std::transform(first, last, first, [usual](double own) { return std::max(own, usual); });
        }
        // A bin a thousand times better than most would outweigh all others of its block.
        const double smallest = 1e-3 * median_of(sigma);
        for (std::size_t i = 0; i < n; ++i) {
            const double w = 1 / std::pow(std::max(sigma[i], smallest), 2);
            weight_.add(w);
            by_frequency_.add(w * frequency_[i]);
            by_value_.add(w * value_[i]);
        }
    }

    struct Mean {
        double frequency = 0, value = 0, variance = 0;
    };
    // Bins [first, last).
    [[nodiscard]] Mean mean(std::size_t first, std::size_t last) const {
        const double w = weight_.over(first, last);
        return {by_frequency_.over(first, last) / w, by_value_.over(first, last) / w, 1 / w};
    }
    // Whether the mean of [first, last) lies above that of [other_first, other_last); without a division.
    [[nodiscard]] bool above(std::size_t first, std::size_t last, std::size_t other_first,
                             std::size_t other_last) const {
        return by_value_.over(first, last) * weight_.over(other_first, other_last) >
               by_value_.over(other_first, other_last) * weight_.over(first, last);
    }
    [[nodiscard]] std::size_t size() const { return value_.size(); }
    [[nodiscard]] double frequency(std::size_t i) const { return frequency_[i]; }
    [[nodiscard]] const std::vector<double>& values() const { return value_; }

private:
    std::vector<double> frequency_, value_;
    RunningSums weight_, by_frequency_, by_value_;
};

struct Candidate {
    std::size_t bin = 0, width = 0;
    double z = 0, contrast = 0;
};

// Significance of a centre block of `width` bins around `centre` against its flanks; 0 where it is no local maximum.
Candidate judge(const Blocks& blocks, std::size_t centre, std::size_t width, double detection_sigma) {
    const std::size_t n = blocks.size();
    const std::size_t gap = (width + 1) / 2;
    const std::size_t least = std::max<std::size_t>(1, width / 3);
    const std::size_t half = width / 2;
    Candidate result{centre, width, 0, 0};
    if (centre < half + gap + least || centre - half + width + gap + least > n) return result;
    const std::size_t first = centre - half;
    const std::size_t last = first + width;
    const std::size_t left_first = first - gap > width ? first - gap - width : 0, left_last = first - gap;
    const std::size_t right_first = last + gap, right_last = std::min(n, last + gap + width);
    // Two places in three end here, in noise.
    if (!blocks.above(first, last, left_first, left_last) || !blocks.above(first, last, right_first, right_last))
        return result;
    const auto middle = blocks.mean(first, last);
    const auto left = blocks.mean(left_first, left_last);
    const auto right = blocks.mean(right_first, right_last);
    // A peak stands above both sides, not only above their mean: half the detection limit each.
    const double each = detection_sigma / 2;
    if (middle.value - left.value < each * std::sqrt(middle.variance + left.variance)) return result;
    if (middle.value - right.value < each * std::sqrt(middle.variance + right.variance)) return result;
    const double share = (middle.frequency - left.frequency) / (right.frequency - left.frequency);
    result.contrast = middle.value - (share * right.value + (1 - share) * left.value);
    result.z = result.contrast /
               std::sqrt(middle.variance + share * share * right.variance + (1 - share) * (1 - share) * left.variance);
    return result;
}

std::vector<std::size_t> widths_for(std::size_t bins) {
    std::vector<std::size_t> widths;
    for (std::size_t w = 1; w <= bins / 3; w *= 2) {
        widths.push_back(w);
        if (w >= 2 && w + w / 2 <= bins / 3) widths.push_back(w + w / 2);
    }
    return widths;
}

std::vector<Candidate> candidates(const Blocks& blocks, double detection_sigma) {
    std::vector<Candidate> found;
    for (const std::size_t width : widths_for(blocks.size())) {
        const std::size_t stride = std::max<std::size_t>(1, width / 8);
        Candidate before, here;
        for (std::size_t i = 0; i < blocks.size() + stride; i += stride) {
            const Candidate next = i < blocks.size() ? judge(blocks, i, width, detection_sigma) : Candidate{};
            if (here.z > detection_sigma && here.z >= before.z && here.z > next.z) found.push_back(here);
            before = here;
            here = next;
        }
        if (here.z > detection_sigma && here.z >= before.z) found.push_back(here);
    }
    std::sort(found.begin(), found.end(), [](const Candidate& a, const Candidate& b) { return a.z > b.z; });
    return found;
}

// Whether a wide candidate hides two peaks: two narrower candidates of one width inside it, apart by twice that width,
// with a valley between them at least a tenth of the lower one's contrast deep.
bool hides_two(const Blocks& blocks, const std::vector<Candidate>& all, const Candidate& wide) {
    const auto apart = [](std::size_t a, std::size_t b) { return a > b ? a - b : b - a; };
    std::vector<const Candidate*> inside;
    for (const auto& other : all) {
        if (2 * other.width <= wide.width && apart(other.bin, wide.bin) <= wide.width) inside.push_back(&other);
    }
    for (const auto* a : inside) {
        for (const auto* b : inside) {
            if (a->width != b->width || a->bin >= b->bin || b->bin - a->bin < 2 * a->width) continue;
            const std::size_t half = a->width / 2;
            const auto at = [&](std::size_t bin) { return blocks.mean(bin - half, bin - half + a->width).value; };
            double valley = at(a->bin);
            for (std::size_t i = a->bin; i <= b->bin; i += std::max<std::size_t>(1, half)) {
                valley = std::min(valley, at(i));
            }
            if (valley < std::min(at(a->bin), at(b->bin)) - 0.1 * std::min(a->contrast, b->contrast)) return true;
        }
    }
    return false;
}

FoundPeak refine(const Blocks& blocks, const Candidate& candidate) {
    const std::size_t n = blocks.size();
    const std::size_t width = candidate.width;
    FoundPeak found;
    found.bin = candidate.bin;
    found.span = width;
    found.contrast = candidate.contrast;
    found.peak.significance = candidate.z;
    // The top at a quarter of the width's smoothing, then a parabola through it and its neighbours.
    const std::size_t smooth = std::max<std::size_t>(1, width / 4);
    const auto value_at = [&](std::size_t i) {
        const std::size_t first = i > smooth / 2 ? i - smooth / 2 : 0;
        return blocks.mean(first, std::min(n, first + smooth));
    };
    const std::size_t reach = width / 2 + 1;
    const std::size_t low = candidate.bin > reach ? candidate.bin - reach : 0;
    const std::size_t high = std::min(n - 1, candidate.bin + reach);
    std::size_t top = candidate.bin;
    for (std::size_t i = low; i <= high; ++i) {
        if (value_at(i).value > value_at(top).value) top = i;
    }
    const auto at = value_at(top);
    found.bin = top;
    found.peak.frequency_hz = at.frequency;
    found.peak.height = at.value;
    if (top >= smooth && top + smooth < n) {
        const auto left = value_at(top - smooth);
        const auto right = value_at(top + smooth);
        const double bend = left.value - 2 * at.value + right.value;
        if (bend < 0) {
            const double shift = std::clamp(0.5 * (left.value - right.value) / bend, -0.5, 0.5);
            found.peak.frequency_hz += shift * 0.5 * (right.frequency - left.frequency);
            found.peak.height -= 0.25 * (left.value - right.value) * shift;
        }
    }
    const std::size_t first = top > 0 ? top - 1 : 0;
    const std::size_t last = std::min(n - 1, top + 1);
    const double spacing = (blocks.frequency(last) - blocks.frequency(first)) /
                           static_cast<double>(std::max<std::size_t>(1, last - first));
    found.width_hz = spacing * static_cast<double>(width);
    return found;
}

// Whether the curve is highest in its outermost block, significantly above the next one in, and at least twice the
// median of the data: the near flank of a resonance rises at least with the square of frequency.
double edge_excess(const Blocks& blocks, bool high, double detection_sigma) {
    const std::size_t n = blocks.size();
    const double middle = median_of(blocks.values());
    double excess = 0;
    for (std::size_t width = 3; width <= n / 6; width *= 2) {
        const auto block = [&](std::size_t k) {
            return high ? blocks.mean(n - (k + 1) * width, n - k * width) : blocks.mean(k * width, (k + 1) * width);
        };
        const auto edge = block(0);
        const auto next = block(1);
        if (edge.value - next.value < detection_sigma * std::sqrt(edge.variance + next.variance)) continue;
        if (edge.value < 2 * middle) continue;
        bool highest = true;
        for (std::size_t k = 1; (k + 1) * width <= n && highest; ++k) highest = block(k).value < edge.value;
        if (highest) excess = std::max(excess, edge.value - middle);
    }
    return excess;
}

}  // namespace

PeakSearch search_peaks(std::span<const ResonanceBin> bins, double detection_sigma) {
    PeakSearch result;
    if (bins.size() < 3) return result;
    const Blocks blocks(bins);
    std::vector<Candidate> kept;
    const auto all = candidates(blocks, detection_sigma);
    for (const auto& candidate : all) {
        const bool overlaps = std::any_of(kept.begin(), kept.end(), [&](const Candidate& other) {
            const std::size_t apart = candidate.bin > other.bin ? candidate.bin - other.bin : other.bin - candidate.bin;
            return apart <= std::max(candidate.width, other.width);
        });
        if (overlaps || hides_two(blocks, all, candidate)) continue;
        kept.push_back(candidate);
        result.peaks.push_back(refine(blocks, candidate));
    }
    std::sort(result.peaks.begin(), result.peaks.end(),
              [](const FoundPeak& a, const FoundPeak& b) { return a.contrast > b.contrast; });
    result.low_edge_excess = edge_excess(blocks, false, detection_sigma);
    result.high_edge_excess = edge_excess(blocks, true, detection_sigma);
    return result;
}

}  // namespace coldtune::dsp
