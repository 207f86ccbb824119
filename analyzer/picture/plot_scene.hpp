// What a plot shows, as plain data: curves over a shared frequency axis in one or two panes, and lines at frequencies.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "analyzer/picture/canvas.hpp"
#include "analyzer/picture/plot_view.hpp"
#include "analyzer/picture/theme.hpp"

namespace coldtune::picture {

std::uint64_t next_curve_id();

// Values of one curve; x increasing. `half_width` is empty, or the 95 % half-width at each point.
struct CurveData {
    std::uint64_t id = next_curve_id();  // tells it from every other, also from one that lay at its address before
    std::vector<double> x, y, half_width;
};

enum class CurveLook {
    measured,    // points where there is room for them, else a line; with its band
    fitted,      // dotted: also where nothing was measured
    calculated,  // dashed
    line,        // a thin line, for what others measured
};

struct PlotCurve {
    std::shared_ptr<const CurveData> data;  // never changed once handed over: drawings of it are kept
    CurveLook look = CurveLook::measured;
    Color color;
    Pattern pattern = Pattern::solid;  // of a measured one
};

struct PlotPane {
    std::string title;  // "Admittance"
    std::string unit;   // "S"
    std::vector<PlotCurve> curves;
};

// A frequency with its interval.
struct PlotMark {
    double frequency_hz = 0;
    double half_width_hz = 0;
    std::string label;
    Color color;
    bool dashed = false;
};

struct LegendEntry {
    std::string label;
    Color color;
    CurveLook look = CurveLook::measured;
    std::optional<int> run;  // a click shows or hides this run
    bool hidden = false;
    Pattern pattern = Pattern::solid;
};

struct PlotScene {
    std::vector<PlotPane> panes;  // 1 .. kMostPanes
    std::vector<PlotMark> marks;
    std::string difference;  // written between the first two marks; empty = nothing
    std::vector<LegendEntry> legend;
    std::string empty_text;  // said when there is no curve at all
};

// Pixel positions of curves, kept from frame to frame while nothing moves.
class PlotCache {
public:
    struct Drawing {
        std::vector<Point> line, upper, lower;
        bool dots = false;
        std::uint64_t last_used = 0;
    };
    const Drawing& get(const CurveData& data, const PaneMap& map, const AxisView& x, const AxisView& y);
    // To be called once a frame: forgets what was not drawn lately.
    void next_frame();

private:
    std::unordered_map<std::uint64_t, Drawing> kept_;
    std::uint64_t frame_ = 0;
};

// Where things came to lie, for the mouse.
struct PlotLayout {
    std::vector<Rect> panes;
    std::vector<std::pair<Rect, int>> legend_runs;
    std::size_t legend_left_out = 0;  // entries there was no room for: "and 3 more" is said
};

struct PlotInk {
    const Theme& theme;
    float scale = 1;  // 1 = lines and gaps as on an ordinary screen
};

// Where there is little room the panes come first: the legend gives up what takes more than a third of the height, then
// the lower pane and the labels of the marks go.
PlotLayout draw_plot(Canvas& canvas, Rect area, const PlotScene& scene, const PlotView& view, const PlotInk& ink,
                     PlotCache& cache, std::optional<Rect> selection = std::nullopt);

// All of the data: the range of x over every curve, and of each pane over what lies inside `x`. nullopt without data.
std::optional<Range> data_x(const PlotScene& scene);
std::optional<Range> data_y(const PlotPane& pane, Range x, Scale scale);

// The value of a curve at x, between its points; nullopt outside.
std::optional<double> value_of(const CurveData& data, double x);

}  // namespace coldtune::picture
