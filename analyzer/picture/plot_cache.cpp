#include <algorithm>
#include <atomic>
#include <bit>
#include <cmath>

#include "analyzer/picture/decimate.hpp"
#include "analyzer/picture/plot_scene.hpp"

namespace coldtune::picture {
namespace {

std::uint64_t mixed(std::uint64_t seed, std::uint64_t value) {
    // A multiply-xorshift step; any good mixing would do.
    seed ^= value + 0x9E3779B97F4A7C15ULL + (seed << 6U) + (seed >> 2U);
    seed *= 0xFF51AFD7ED558CCDULL;
    return seed ^ (seed >> 33U);
}
std::uint64_t mixed(std::uint64_t seed, double value) {
    return mixed(seed, std::bit_cast<std::uint64_t>(value));
}

std::uint64_t key_of(const CurveData& data, const PaneMap& map, const AxisView& x, const AxisView& y) {
    std::uint64_t key = data.id;
    for (double v : {x.range.low, x.range.high, y.range.low, y.range.high}) key = mixed(key, v);
    const Rect& a = map.area();
    for (float v : {a.left, a.top, a.right, a.bottom}) key = mixed(key, static_cast<double>(v));
    return mixed(key, static_cast<std::uint64_t>(x.scale == Scale::linear) * 2 +
                          static_cast<std::uint64_t>(y.scale == Scale::linear));
}

// Columns a little wider than a pixel: what a line of ordinary width shows.
constexpr float kColumn = 1.5F;
// Points further apart than this many pixels are drawn one by one.
constexpr float kRoomForDots = 5.0F;

}  // namespace

std::uint64_t next_curve_id() {
    static std::atomic<std::uint64_t> last{0};
    return ++last;
}

const PlotCache::Drawing& PlotCache::get(const CurveData& data, const PaneMap& map, const AxisView& x,
                                         const AxisView& y) {
    const auto [found, made] = kept_.try_emplace(key_of(data, map, x, y));
    Drawing& drawing = found->second;
    drawing.last_used = frame_;
    if (!made) return drawing;

    // One point beyond each edge, so that the line runs out of the pane.
    auto first = std::lower_bound(data.x.begin(), data.x.end(), x.range.low) - data.x.begin();
    auto last = std::upper_bound(data.x.begin(), data.x.end(), x.range.high) - data.x.begin();
    first = std::max<std::ptrdiff_t>(0, first - 1);
    last = std::min<std::ptrdiff_t>(static_cast<std::ptrdiff_t>(data.x.size()), last + 1);
    const auto begin = static_cast<std::size_t>(first);
    const std::size_t count = last > first ? static_cast<std::size_t>(last - first) : 0;
    if (count == 0) return drawing;

    std::vector<int> column(count);
    std::vector<float> px(count);
    for (std::size_t k = 0; k < count; ++k) {
        px[k] = map.x(data.x[begin + k]);
        column[k] = static_cast<int>(std::floor(px[k] / kColumn));
    }
    const std::span<const double> values(data.y.data() + begin, count);
    drawing.dots = static_cast<float>(count) * kRoomForDots < map.area().width() * 1.2F;
    for (std::size_t k : decimate(values, column)) {
        if (std::isfinite(values[k])) drawing.line.push_back({px[k], map.y(values[k])});
    }
    if (data.half_width.size() == data.y.size()) {
        // The band's edges are curves of their own, thinned so that the widest place of a column stays.
        std::size_t k = 0;
        while (k < count) {
            float top = 1e5F, bottom = -1e5F;
            const std::size_t start = k;
            for (; k < count && column[k] == column[start]; ++k) {
                const double h = data.half_width[begin + k];
                if (!std::isfinite(values[k]) || !std::isfinite(h)) continue;
                top = std::min(top, map.y(values[k] + h));
                bottom = std::max(bottom, map.y(values[k] - h));
            }
            if (top > bottom) continue;
            drawing.upper.push_back({px[start], top});
            drawing.lower.push_back({px[start], bottom});
        }
    }
    return drawing;
}

void PlotCache::next_frame() {
    ++frame_;
    std::erase_if(kept_, [&](const auto& entry) { return entry.second.last_used + 2 < frame_; });
}

std::optional<Range> data_x(const PlotScene& scene) {
    std::optional<Range> all;
    for (const PlotPane& pane : scene.panes) {
        for (const PlotCurve& curve : pane.curves) {
            if (!curve.data || curve.data->x.size() < 2) continue;
            const Range r{curve.data->x.front(), curve.data->x.back()};
            all = all ? Range{std::min(all->low, r.low), std::max(all->high, r.high)} : r;
        }
    }
    return all;
}

std::optional<Range> data_y(const PlotPane& pane, Range x, Scale scale) {
    std::optional<Range> all;
    for (const PlotCurve& curve : pane.curves) {
        if (!curve.data) continue;
        for (std::size_t k = 0; k < curve.data->x.size(); ++k) {
            const double v = curve.data->y[k];
            if (curve.data->x[k] < x.low || curve.data->x[k] > x.high || !std::isfinite(v)) continue;
            if (scale == Scale::logarithmic && !(v > 0)) continue;
            all = all ? Range{std::min(all->low, v), std::max(all->high, v)} : Range{v, v};
        }
    }
    return all;
}

std::optional<double> value_of(const CurveData& data, double x) {
    if (data.x.size() < 2 || x < data.x.front() || x > data.x.back()) return std::nullopt;
    const auto after = std::lower_bound(data.x.begin(), data.x.end(), x) - data.x.begin();
    const auto k = static_cast<std::size_t>(std::max<std::ptrdiff_t>(1, after));
    const double t = (x - data.x[k - 1]) / (data.x[k] - data.x[k - 1]);
    return data.y[k - 1] + t * (data.y[k] - data.y[k - 1]);
}

}  // namespace coldtune::picture
