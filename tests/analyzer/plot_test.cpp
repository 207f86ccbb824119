// The plot without a screen: what is thinned, what is shown, how the view moves.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>
#include <random>

#include "analyzer/picture/decimate.hpp"
#include "analyzer/picture/plot_scene.hpp"
#include "analyzer/picture/svg_canvas.hpp"

namespace coldtune::picture {
namespace {

TEST(Decimate, KeepsEveryExtremeAndBothEndsOfEveryColumn) {
    std::mt19937 random(7);
    std::normal_distribution<double> noise;
    std::vector<double> y(20000);
    std::vector<int> column(y.size());
    for (std::size_t k = 0; k < y.size(); ++k) {
        y[k] = noise(random);
        column[k] = static_cast<int>(k / 37);
    }
    y[12345] = 1e6;  // one point of 20,000 is the peak
    const auto kept = decimate(y, column);
    EXPECT_TRUE(std::is_sorted(kept.begin(), kept.end()));
    EXPECT_LE(kept.size(), 4 * (y.size() / 37 + 1));
    for (std::size_t from = 0; from < y.size(); from += 37) {
        const std::size_t to = std::min(from + 37, y.size());
        const auto has = [&](std::size_t k) { return std::binary_search(kept.begin(), kept.end(), k); };
        const auto at = [&](auto it) { return static_cast<std::size_t>(it - y.begin()); };
        const auto begin = y.begin() + static_cast<std::ptrdiff_t>(from),
                   end = y.begin() + static_cast<std::ptrdiff_t>(to);
        EXPECT_TRUE(has(from));
        EXPECT_TRUE(has(to - 1));
        EXPECT_TRUE(has(at(std::min_element(begin, end))));
        EXPECT_TRUE(has(at(std::max_element(begin, end))));
    }
    EXPECT_TRUE(std::binary_search(kept.begin(), kept.end(), std::size_t{12345}));
}

TEST(Decimate, NumbersWinOverNan) {
    const std::vector<double> y{NAN, 3, NAN, -2, 7, NAN};
    const std::vector<int> column(y.size(), 0);
    const auto kept = decimate(y, column);
    for (std::size_t k : {0U, 3U, 4U, 5U}) EXPECT_TRUE(std::binary_search(kept.begin(), kept.end(), k)) << k;
    EXPECT_TRUE(decimate({}, {}).empty());
}

AxisView axis(Scale scale, Range home) {
    AxisView a;
    a.scale = scale;
    set_home(a, home, true);
    return a;
}

TEST(View, ZoomingKeepsWhatLiesUnderThePointer) {
    for (Scale scale : {Scale::linear, Scale::logarithmic}) {
        AxisView a = axis(scale, {500, 86400});
        for (double position : {0.1, 0.5, 0.8}) {
            const double under = value_at(position, a.range, a.scale);
            zoom(a, position, 1.7);
            // 1e-9: the span is rebuilt from logarithms and roundings.
            EXPECT_NEAR(value_at(position, a.range, a.scale) / under, 1, 1e-9);
        }
    }
}

TEST(View, NeverLeavesItsLimitNorGoesBelowTheNarrowest) {
    AxisView a = axis(Scale::logarithmic, {500, 86400});
    for (int k = 0; k < 100; ++k) zoom(a, 0.3, 0.5);
    EXPECT_NEAR(a.range.low / a.limit.low, 1, 1e-9);
    EXPECT_NEAR(a.range.high / a.limit.high, 1, 1e-9);
    for (int k = 0; k < 100; ++k) zoom(a, 0.3, 2);
    EXPECT_GT(a.range.high, a.range.low);
    const double span = a.range.high / a.range.low;
    for (int k = 0; k < 200; ++k) pan(a, 0.9);
    EXPECT_LE(a.range.high, a.limit.high * (1 + 1e-9));
    EXPECT_NEAR(a.range.high / a.range.low / span, 1, 1e-9) << "panning changed the magnification";
    zoom(a, 0.5, NAN);
    EXPECT_GT(a.range.high, a.range.low);
}

TEST(View, ABoxShowsWhatItHeldInEitherDirection) {
    AxisView a = axis(Scale::linear, {0, 100}), b = a;
    zoom_to(a, 0.2, 0.6);
    zoom_to(b, 0.6, 0.2);
    EXPECT_NEAR(a.range.low, 20, 1e-9);
    EXPECT_NEAR(a.range.high, 60, 1e-9);
    EXPECT_EQ(a.range, b.range);
    const Range before = a.range;
    zoom_to(a, 0.5, 0.5);  // a click that trembled
    EXPECT_EQ(a.range, before);
}

TEST(View, LogarithmicNeedsPositiveValues) {
    AxisView a = axis(Scale::linear, {-5, 5});
    set_scale(a, Scale::logarithmic);
    EXPECT_EQ(a.scale, Scale::linear);
    AxisView b = axis(Scale::linear, {1, 1000});
    set_scale(b, Scale::logarithmic);
    EXPECT_EQ(b.scale, Scale::logarithmic);
    EXPECT_GT(b.range.low, 0);
}

TEST(View, PixelsAndValuesAgree) {
    PlotView v;
    v.x = axis(Scale::logarithmic, {500, 86400});
    v.y[0] = axis(Scale::linear, {-90, 90});
    const PaneMap map({100, 50, 900, 450}, v.x, v.y[0]);
    EXPECT_FLOAT_EQ(map.x(500), 100);
    EXPECT_FLOAT_EQ(map.x(86400), 900);
    EXPECT_FLOAT_EQ(map.y(-90), 450);
    EXPECT_FLOAT_EQ(map.y(90), 50);
    // A pixel is kept as a float: 1e-4 of the value is a hundredth of a pixel here.
    EXPECT_NEAR(map.x_value(map.x(63410)) / 63410, 1, 1e-4);
}

PlotScene scene_with(std::size_t points) {
    auto data = std::make_shared<CurveData>();
    for (std::size_t k = 0; k < points; ++k) {
        const double f = 1000 + 80000.0 * static_cast<double>(k) / static_cast<double>(points - 1);
        data->x.push_back(f);
        data->y.push_back(1e-6 + 1e-3 / (1 + std::pow((f - 63000) / 300, 2)));
        data->half_width.push_back(1e-5);
    }
    PlotScene scene;
    scene.panes.push_back({"Admittance", "S", {{data, CurveLook::measured, {20, 60, 200, 255}}}});
    scene.marks.push_back({63000, 50, "measured 63.00 kHz", {20, 60, 200, 255}, false});
    scene.marks.push_back({65000, 900, "calculated 65.00 kHz", {180, 90, 0, 255}, true});
    scene.difference = "3.1 % below calculated";
    scene.legend.push_back({"Run 1 <&>", {20, 60, 200, 255}, CurveLook::measured, 1, false});
    return scene;
}

PlotView view_of(const PlotScene& scene) {
    PlotView view;
    set_home(view.x, *data_x(scene), true);
    view.y[0].scale = Scale::logarithmic;
    set_home(view.y[0],
             with_margin(*data_y(scene.panes[0], view.x.range, Scale::logarithmic), Scale::logarithmic, 0.05), true);
    return view;
}

TEST(Plot, APeakOfOnePointOfAHundredThousandIsDrawn) {
    auto data = std::make_shared<CurveData>();
    for (int k = 0; k < 100000; ++k) {
        data->x.push_back(k);
        data->y.push_back(k == 54321 ? 10.0 : 1.0);
    }
    AxisView x = axis(Scale::linear, {0, 99999}), y = axis(Scale::linear, {0, 12});
    const PaneMap map({0, 0, 800, 600}, x, y);
    PlotCache cache;
    const auto& drawn = cache.get(*data, map, x, y);
    const float highest =
        std::min_element(drawn.line.begin(), drawn.line.end(), [](Point a, Point b) { return a.y < b.y; })->y;
    EXPECT_FLOAT_EQ(highest, map.y(10));
    EXPECT_LT(drawn.line.size(), 4000U);
}

TEST(Plot, BandHoldsTheWidestPlaceOfEveryColumn) {
    const PlotScene scene = scene_with(50000);
    const PlotView view = view_of(scene);
    const CurveData& data = *scene.panes[0].curves[0].data;
    const PaneMap map({0, 0, 600, 400}, view.x, view.y[0]);
    PlotCache cache;
    const auto& d = cache.get(data, map, view.x, view.y[0]);
    ASSERT_EQ(d.upper.size(), d.lower.size());
    ASSERT_GT(d.upper.size(), 300U);
    for (std::size_t k = 0; k < d.upper.size(); ++k) EXPECT_LE(d.upper[k].y, d.lower[k].y);
    const double peak = *std::max_element(data.y.begin(), data.y.end()) + 1e-5;
    const float top = std::min_element(d.upper.begin(), d.upper.end(), [](Point a, Point b) { return a.y < b.y; })->y;
    EXPECT_FLOAT_EQ(top, map.y(peak));
}

TEST(Plot, CacheForgetsWhatIsNotDrawnAndNeverMixesCurves) {
    AxisView x = axis(Scale::linear, {0, 10}), y = axis(Scale::linear, {0, 10});
    const PaneMap map({0, 0, 100, 100}, x, y);
    PlotCache cache;
    for (int k = 0; k < 50; ++k) {
        // Freed and made again, perhaps at the same address and of the same size.
        auto data = std::make_unique<CurveData>();
        data->x = {0, 10};
        data->y = {static_cast<double>(k % 10), static_cast<double>(k % 10)};
        cache.next_frame();
        EXPECT_FLOAT_EQ(cache.get(*data, map, x, y).line[0].y, map.y(k % 10));
    }
}

TEST(Plot, SvgHoldsWhatTheScreenShows) {
    const PlotScene scene = scene_with(2000);
    SvgCanvas canvas(1200, 760, light_theme().panel, 15);
    PlotCache cache;
    const PlotLayout layout = draw_plot(canvas, {0, 0, 1200, 760}, scene, view_of(scene), {light_theme(), 1}, cache);
    ASSERT_EQ(layout.panes.size(), 1U);
    ASSERT_EQ(layout.legend_runs.size(), 1U);
    EXPECT_EQ(layout.legend_runs[0].second, 1);
    const std::string file = canvas.file();
    for (const char* needed : {"measured 63.00 kHz", "calculated 65.00 kHz", "3.1 % below calculated", "Admittance / S",
                               "Frequency / Hz", "Run 1 &lt;&amp;&gt;", "<polyline", "<polygon", "</svg>"}) {
        EXPECT_NE(file.find(needed), std::string::npos) << needed;
    }
    const auto count = [&](const std::string& what) {
        std::size_t n = 0;
        for (auto at = file.find(what); at != std::string::npos; at = file.find(what, at + 1)) ++n;
        return n;
    };
    EXPECT_EQ(count("<g "), count("</g>"));
    EXPECT_EQ(count("nan"), 0U);
    EXPECT_EQ(count("inf"), 0U);
}

// However many runs there are and however low the area is, a pane is there to look at.
TEST(Plot, TheLegendNeverTakesThePlotsRoom) {
    PlotScene scene = scene_with(2000);
    scene.panes.push_back(scene.panes[0]);
    for (int run = 2; run <= 30; ++run) {
        scene.legend.push_back(
            {"Run " + std::to_string(run) + "  64.23 kHz", {90, 0, 90, 255}, CurveLook::measured, run, run < 30});
    }
    PlotView view = view_of(scene);
    view.y[1] = view.y[0];
    for (float height : {160.0F, 220.0F, 300.0F, 500.0F, 900.0F}) {
        SvgCanvas canvas(480, height, light_theme().panel, 15);
        PlotCache cache;
        const PlotLayout layout = draw_plot(canvas, {0, 0, 480, height}, scene, view, {light_theme(), 1}, cache);
        ASSERT_FALSE(layout.panes.empty()) << height;
        EXPECT_GE(layout.panes[0].height(), 40) << height;
        EXPECT_LE(layout.panes[0].top, height * 0.75F) << height;
        for (const auto& [place, run] : layout.legend_runs) {
            EXPECT_LT(place.bottom, layout.panes[0].top + 1) << "run " << run << " at " << height;
        }
        EXPECT_EQ(layout.legend_runs.size() + layout.legend_left_out, scene.legend.size()) << height;
        EXPECT_GT(layout.legend_left_out, 0U) << height;
        const std::string words = "and " + std::to_string(layout.legend_left_out) + " more";
        EXPECT_NE(canvas.file().find(words), std::string::npos) << height;
        // What is drawn is named first.
        EXPECT_EQ(layout.legend_runs[0].second, 1) << height;
        if (layout.legend_runs.size() > 1) {
            EXPECT_EQ(layout.legend_runs[1].second, 30) << height;
        }
    }
}

// Nothing was measured beyond the band: what is calculated there from the fit is no solid line.
TEST(Plot, AFittedCurveIsDotted) {
    PlotScene scene = scene_with(2000);
    const Color fitted{90, 20, 20, 255};
    scene.panes[0].curves = {{scene.panes[0].curves[0].data, CurveLook::fitted, fitted}};
    SvgCanvas canvas(1200, 760, light_theme().panel, 15);
    PlotCache cache;
    draw_plot(canvas, {0, 0, 1200, 760}, scene, view_of(scene), {light_theme(), 1}, cache);
    const std::string file = canvas.file();
    std::size_t dots = 0;
    for (auto at = file.find("#5a1414"); at != std::string::npos; at = file.find("#5a1414", at + 1)) ++dots;
    EXPECT_GT(dots, 100U) << "one piece of line a dot";
}

TEST(Plot, AnEmptyOneSaysSo) {
    PlotScene scene;
    scene.panes.resize(2);
    scene.empty_text = "Nothing yet.";
    SvgCanvas canvas(600, 400, light_theme().panel, 15);
    PlotCache cache;
    EXPECT_TRUE(draw_plot(canvas, {0, 0, 600, 400}, scene, {}, {light_theme(), 1}, cache).panes.empty());
    EXPECT_NE(canvas.file().find("Nothing yet."), std::string::npos);
}

}  // namespace
}  // namespace coldtune::picture
