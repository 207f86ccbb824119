#include "analyzer/share/response_plot.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/curves.hpp"
#include "analyzer/picture/plot_words.hpp"
#include "analyzer/picture/svg_canvas.hpp"
#include "analyzer/picture/theme.hpp"

namespace coldtune::share {
namespace {

using measure::Quantity;
using picture::CurveLook;

bool head_free(bench::Hookup hookup) {
    return hookup == bench::Hookup::foot || hookup == bench::Hookup::pickup;
}

std::shared_ptr<const picture::CurveData> trace(const measure::Curve& curve, Quantity quantity) {
    measure::Trace t = measure::trace_of(curve, quantity);
    auto data = std::make_shared<picture::CurveData>();
    data->x = std::move(t.frequency_hz);
    data->y = std::move(t.value);
    data->half_width = std::move(t.half_width_95);
    return data;
}

// The measured frequencies, and whatever is marked, with a little room.
picture::Range shown_range(const ResponsePlot& plot) {
    if (plot.band) return {plot.band->low_hz, plot.band->high_hz};
    std::optional<picture::Range> all;
    const auto take = [&](double low, double high) {
        if (!(low > 0) || !(high >= low)) return;
        all = all ? picture::Range{std::min(all->low, low), std::max(all->high, high)} : picture::Range{low, high};
    };
    for (const auto* curves : {&plot.measured, &plot.others}) {
        for (const NamedCurve& c : *curves) {
            if (!c.curve.frequency_hz.empty()) take(c.curve.frequency_hz.front(), c.curve.frequency_hz.back());
        }
    }
    if (plot.resonance) take(plot.resonance->frequency_hz, 1.1 * plot.resonance->frequency_hz);
    if (plot.calculated_value) take(plot.calculated_value->frequency_hz, 1.1 * plot.calculated_value->frequency_hz);
    if (!all || !(all->high > all->low)) return {1e3, 1e6};
    return *all;
}

picture::PlotScene scene_of(const ResponsePlot& plot, const picture::Theme& theme) {
    picture::PlotScene scene;
    const bool foot = plot.hookup == bench::Hookup::foot;
    const std::array<Quantity, 2> quantities = {foot ? Quantity::admittance_magnitude : Quantity::impedance_magnitude,
                                                foot ? Quantity::admittance_phase : Quantity::impedance_phase};
    for (Quantity q : quantities) {
        scene.panes.push_back({std::string(measure::quantity_name(q)), std::string(measure::quantity_unit(q)), {}});
    }
    const auto add = [&](const measure::Curve& curve, CurveLook look, picture::Color color, const std::string& name) {
        if (curve.frequency_hz.size() < 2) return;
        for (std::size_t k = 0; k < 2; ++k) scene.panes[k].curves.push_back({trace(curve, quantities[k]), look, color});
        if (!name.empty()) scene.legend.push_back({name, color, look, std::nullopt, false});
    };
    std::size_t run = 0;
    for (const NamedCurve& c : plot.measured) add(c.curve, CurveLook::measured, theme.run_color(run++), c.name);
    if (plot.fitted) add(*plot.fitted, CurveLook::fitted, theme.ink, "fitted");
    if (plot.calculated) add(*plot.calculated, CurveLook::calculated, theme.calculated, "calculated");
    for (const NamedCurve& c : plot.others) add(c.curve, CurveLook::line, theme.run_color(run++), c.name);
    picture::add_marks(scene, plot.resonance ? &*plot.resonance : nullptr,
                       plot.calculated_value ? &*plot.calculated_value : nullptr, theme.run_color(plot.marked), theme);
    for (const measure::Pair::Peak& peak : plot.peaks) {
        scene.marks.push_back({peak.frequency_hz, peak.frequency_u95_hz,
                               picture::hertz_with(peak.frequency_hz, peak.frequency_u95_hz),
                               theme.run_color(plot.marked), false});
    }
    scene.empty_text = "No curve was kept with this result.";
    return scene;
}

}  // namespace

ResponsePlot plot_of(const measure::MeasurementResult& result, std::string name) {
    ResponsePlot plot;
    plot.hookup = result.hookup;
    if (const measure::Resonance* r = result.resonance()) {
        plot.resonance = *r;
    } else if (result.verdict() == measure::Verdict::rejected) {
        name += "  rejected";
    }
    plot.measured.push_back({std::move(name), result.curve});
    plot.fitted = measure::fitted_curve(result);
    // Of the secondary alone: nothing a pair's curve could be held against.
    if (const measure::Pair* pair = result.pair()) {
        plot.peaks = {pair->lower, pair->upper};
    } else if (result.calculated && head_free(result.hookup)) {
        plot.calculated_value = result.calculated;
    }
    return plot;
}

Status add_calculated(ResponsePlot& plot, const model::CoilDescription& coil) {
    const auto model = model::SecondaryModel::build(coil);
    if (!model) return model.error();
    if (!plot.calculated_value && head_free(plot.hookup)) {
        auto value = model::calculate(coil);
        if (!value) return value.error();
        plot.calculated_value = std::move(*value);
    }
    const picture::Range range = shown_range(plot);
    plot.calculated = measure::calculated_curve(*model, plot.hookup, {range.low, range.high});
    return Done{};
}

void draw_response(picture::Canvas& canvas, picture::Rect area, const ResponsePlot& plot) {
    const picture::Theme& theme = picture::light_theme();
    const picture::PlotScene scene = scene_of(plot, theme);
    picture::PlotView view;
    view.x = {.scale = picture::Scale::logarithmic, .range = shown_range(plot), .home = {}, .limit = {}};
    for (std::size_t k = 0; k < scene.panes.size(); ++k) {
        picture::AxisView& y = view.y[k];
        y.scale = k == 0 ? picture::Scale::logarithmic : picture::Scale::linear;
        y.range = picture::data_y(scene.panes[k], view.x.range, y.scale).value_or(picture::Range{1, 10});
        y.range = picture::with_margin(y.range, y.scale, 0.05);
    }
    picture::PlotCache cache;
    picture::draw_plot(canvas, area, scene, view, {theme, 1}, cache);
}

std::string response_svg(const ResponsePlot& plot, std::string_view title) {
    constexpr float kWidth = 1200, kHeight = 760, kText = 15;
    picture::SvgCanvas canvas(kWidth, kHeight, picture::light_theme().panel, kText);
    draw_response(canvas, {0, 0, kWidth, kHeight}, plot);
    return canvas.file(title);
}

}  // namespace coldtune::share
