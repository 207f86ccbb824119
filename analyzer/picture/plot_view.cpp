#include "analyzer/picture/plot_view.hpp"

#include <algorithm>
#include <cmath>

namespace coldtune::picture {
namespace {

// Work in the axis's own measure: the value, or its logarithm.
double to_measure(double value, Scale scale) {
    return scale == Scale::linear ? value : std::log(value);
}
double from_measure(double measure, Scale scale) {
    return scale == Scale::linear ? measure : std::exp(measure);
}

bool positive(Range range) {
    return range.low > 0;
}

struct Span {
    double low, high;
};
Span measured(Range range, Scale scale) {
    return {to_measure(range.low, scale), to_measure(range.high, scale)};
}

void show(AxisView& axis, Span wanted) {
    const Span limit = measured(axis.limit, axis.scale);
    const Span home = measured(axis.home, axis.scale);
    const double least = std::max((home.high - home.low) * axis.narrowest, 1e-300);
    double span = std::clamp(wanted.high - wanted.low, least, limit.high - limit.low);
    double low = (wanted.low + wanted.high - span) / 2;
    low = std::clamp(low, limit.low, limit.high - span);
    axis.range = {from_measure(low, axis.scale), from_measure(low + span, axis.scale)};
}

// A pixel far outside is as good as any other, and a finite one can be clipped.
float bounded(double pixel) {
    return static_cast<float>(std::clamp(pixel, -1e5, 1e5));
}

}  // namespace

void zoom(AxisView& axis, double position, double factor) {
    if (!(factor > 0) || !std::isfinite(factor)) return;
    const Span now = measured(axis.range, axis.scale);
    const double span = now.high - now.low;
    const double fixed = now.low + position * span;
    show(axis, {fixed - position * span / factor, fixed + (1 - position) * span / factor});
}

void pan(AxisView& axis, double fraction) {
    const Span now = measured(axis.range, axis.scale);
    const double move = fraction * (now.high - now.low);
    show(axis, {now.low + move, now.high + move});
}

void zoom_to(AxisView& axis, double from, double to) {
    if (from > to) std::swap(from, to);
    if (to - from < 1e-3) return;
    const Span now = measured(axis.range, axis.scale);
    const double span = now.high - now.low;
    show(axis, {now.low + from * span, now.low + to * span});
}

void reset(PlotView& view) {
    view.x.range = view.x.home;
    for (AxisView& y : view.y) y.range = y.home;
    view.follows_data = true;
}

void set_scale(AxisView& axis, Scale scale) {
    if (scale == Scale::logarithmic) {
        if (!positive(axis.home)) return;
        if (!positive(axis.range)) axis.range = axis.home;
    }
    axis.scale = scale;
    set_home(axis, axis.home, false);
    show(axis, measured(axis.range, axis.scale));
}

void set_home(AxisView& axis, Range home, bool follow) {
    axis.home = home;
    if (axis.scale == Scale::logarithmic && !positive(home)) axis.scale = Scale::linear;
    if (axis.scale == Scale::logarithmic) {
        axis.limit = {home.low / 10, home.high * 10};
    } else {
        const double span = home.high - home.low;
        axis.limit = {home.low - 4.5 * span, home.high + 4.5 * span};
    }
    if (follow || (axis.scale == Scale::logarithmic && !positive(axis.range))) {
        axis.range = home;
    } else {
        show(axis, measured(axis.range, axis.scale));
    }
}

PaneMap::PaneMap(Rect area, const AxisView& x, const AxisView& y)
    : area_(area), x_range_(x.range), y_range_(y.range), x_scale_(x.scale), y_scale_(y.scale) {}

float PaneMap::x(double value) const {
    return bounded(static_cast<double>(area_.left) +
                   position_of(value, x_range_, x_scale_) * static_cast<double>(area_.width()));
}
float PaneMap::y(double value) const {
    return bounded(static_cast<double>(area_.bottom) -
                   position_of(value, y_range_, y_scale_) * static_cast<double>(area_.height()));
}
double PaneMap::x_value(float pixel) const {
    return value_at(static_cast<double>((pixel - area_.left) / area_.width()), x_range_, x_scale_);
}
double PaneMap::y_value(float pixel) const {
    return value_at(static_cast<double>((area_.bottom - pixel) / area_.height()), y_range_, y_scale_);
}

}  // namespace coldtune::picture
