// What part of a plot is shown, and how the user moves it. Plain values: no drawing, no input device.
#pragma once

#include <array>
#include <cstddef>
#include <optional>

#include "analyzer/picture/axis.hpp"
#include "analyzer/picture/canvas.hpp"

namespace coldtune::picture {

// Two panes at most stand above one another and share the frequency axis.
inline constexpr std::size_t kMostPanes = 2;

struct AxisView {
    Scale scale = Scale::linear;
    Range range;              // shown
    Range home;               // shown after a reset: all of the data
    Range limit;              // zooming out and panning stop here
    double narrowest = 1e-6;  // smallest span (relative, of the home span) zooming in stops at
};

struct Cursor {
    double frequency_hz = 0;
};

struct PlotView {
    AxisView x;
    std::array<AxisView, kMostPanes> y;
    bool follows_data = true;  // until the user moves it, the view stays at home when data arrive
    std::optional<Cursor> cursor_a, cursor_b;
};

// Enlarges around a position (0 .. 1 along the axis) by a factor > 1, or reduces by one < 1; within the limit.
void zoom(AxisView& axis, double position, double factor);
// Moves by a fraction of what is shown; stops at the limit with the span kept.
void pan(AxisView& axis, double fraction);
// Shows exactly what lies between two positions, in either order; a span too small to be meant is ignored.
void zoom_to(AxisView& axis, double from, double to);
// Back to all of the data.
void reset(PlotView& view);
// Changes the scale and keeps what is shown; a logarithmic axis over zero or less goes to its home first, and to linear
// when that is not positive either.
void set_scale(AxisView& axis, Scale scale);
// New data: home becomes this range, the limit ten times as wide; the view follows when it was at home.
void set_home(AxisView& axis, Range home, bool follow);

// Pixels of a pane and the values they stand for.
class PaneMap {
public:
    PaneMap(Rect area, const AxisView& x, const AxisView& y);
    [[nodiscard]] float x(double value) const;
    [[nodiscard]] float y(double value) const;
    [[nodiscard]] double x_value(float pixel) const;
    [[nodiscard]] double y_value(float pixel) const;
    [[nodiscard]] const Rect& area() const { return area_; }

private:
    Rect area_;
    Range x_range_, y_range_;
    Scale x_scale_, y_scale_;
};

}  // namespace coldtune::picture
