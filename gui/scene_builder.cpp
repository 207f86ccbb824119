#include "gui/scene_builder.hpp"

#include <fmt/format.h>

#include <cmath>

namespace coldtune::gui {

using measure::Quantity;

namespace {

constexpr float kFittedShade = 0.35F;

Color between(Color from, Color to, float share) {
    const auto mix = [&](std::uint8_t a, std::uint8_t b) {
        return static_cast<std::uint8_t>(
            std::lround(static_cast<float>(a) * (1 - share) + static_cast<float>(b) * share));
    };
    return {mix(from.r, to.r), mix(from.g, to.g), mix(from.b, to.b), 255};
}

}  // namespace

std::pair<Quantity, Quantity> quantities_of(PlotPair pair) {
    switch (pair) {
        case PlotPair::admittance:
            return {Quantity::admittance_magnitude, Quantity::admittance_phase};
        case PlotPair::impedance:
            return {Quantity::impedance_magnitude, Quantity::impedance_phase};
        case PlotPair::conductance:
            return {Quantity::conductance, Quantity::susceptance};
        case PlotPair::resistance:
            return {Quantity::resistance, Quantity::reactance};
    }
    return {Quantity::admittance_magnitude, Quantity::admittance_phase};
}

std::string_view pair_title(PlotPair pair) {
    switch (pair) {
        case PlotPair::admittance:
            return "Admittance";
        case PlotPair::impedance:
            return "Impedance";
        case PlotPair::conductance:
            return "G and B";
        case PlotPair::resistance:
            return "R and X";
    }
    return "";
}

bool usually_logarithmic(PlotPair pair) {
    return pair == PlotPair::admittance || pair == PlotPair::impedance;
}

std::shared_ptr<const CurveData> SceneBuilder::data(const std::shared_ptr<const measure::Curve>& curve,
                                                    Quantity quantity) {
    if (!curve || curve->frequency_hz.size() < 2) return nullptr;
    Kept& kept = kept_[{curve.get(), quantity}];
    kept.used = true;
    if (!kept.data) {
        measure::Trace trace = measure::trace_of(*curve, quantity);
        auto made = std::make_shared<CurveData>();
        made->x = std::move(trace.frequency_hz);
        made->y = std::move(trace.value);
        made->half_width = std::move(trace.half_width_95);
        kept.curve = curve;
        kept.data = std::move(made);
    }
    return kept.data;
}

PlotScene SceneBuilder::build(const State& state, const Theme& theme) {
    for (auto& [key, kept] : kept_) kept.used = false;
    PlotScene scene;
    const auto quantities = quantities_of(state.pair);
    const Quantity upper = quantities.first, lower = quantities.second;
    for (Quantity q : {upper, lower}) {
        scene.panes.push_back({std::string(measure::quantity_name(q)), std::string(measure::quantity_unit(q)), {}});
    }
    const auto add = [&](const std::shared_ptr<const measure::Curve>& curve, CurveLook look, Color color,
                         Pattern pattern = Pattern::solid) {
        if (auto d = data(curve, upper)) scene.panes[0].curves.push_back({std::move(d), look, color, pattern});
        if (auto d = data(curve, lower)) scene.panes[1].curves.push_back({std::move(d), look, color, pattern});
    };

    const bool live = state.live();
    const Run* selected = live ? nullptr : state.selected();
    const measure::MeasurementResult* shown = state.shown_result();
    const auto hookup = shown ? shown->hookup : state.bench.hookup;
    // Two coupled circuits are not what was calculated for one.
    const measure::Pair* pair = shown ? shown->pair() : nullptr;
    const auto& calculated = pair != nullptr                    ? std::shared_ptr<const measure::Curve>()
                             : hookup == bench::Hookup::foot    ? state.calculation.foot
                             : hookup == bench::Hookup::winding ? state.calculation.winding
                                                                : std::shared_ptr<const measure::Curve>();
    // Each in its run's own colour, a shade towards the ink to be seen on what was measured.
    std::optional<Color> fitted_color;
    const auto add_fitted = [&](const std::shared_ptr<const measure::Curve>& fitted, Color run_color) {
        const Color color = between(run_color, theme.ink, kFittedShade);
        add(fitted, CurveLook::fitted, color);
        fitted_color = fitted_color ? theme.ink : color;
    };
    for (const Run& run : state.runs) {
        const auto index = static_cast<std::size_t>(run.id - 1);
        const Color color = theme.run_color(index);
        const Pattern pattern = theme.run_pattern(index);
        const auto* resonance = run.result.resonance();
        std::string label = run.name;
        const bool accepted = run.result.verdict() != measure::Verdict::rejected;
        label += resonance ? "  " + hertz(resonance->frequency_hz) : std::string(accepted ? "" : "  no result");
        const bool drawable = run.measured && run.measured->frequency_hz.size() > 1;
        if (!drawable) continue;
        scene.legend.push_back({label, color, CurveLook::measured, run.id, !run.shown, pattern});
        if (!run.shown) continue;
        add(run.measured, CurveLook::measured, color, pattern);
        if (run.fitted) add_fitted(run.fitted, color);
    }
    const auto next = static_cast<std::size_t>(state.next_run - 1);
    const Color live_color = theme.run_color(next);
    if (live && state.following->measured) {
        const Pattern pattern = theme.run_pattern(next);
        add(state.following->measured, CurveLook::measured, live_color, pattern);
        scene.legend.push_back({"live", live_color, CurveLook::measured, std::nullopt, false, pattern});
        if (state.following->fitted) add_fitted(state.following->fitted, live_color);
    }
    if (fitted_color) scene.legend.push_back({"fitted", *fitted_color, CurveLook::fitted, std::nullopt, false});
    if (calculated && calculated->frequency_hz.size() > 1) {
        add(calculated, CurveLook::calculated, theme.calculated);
        scene.legend.push_back({"calculated", theme.calculated, CurveLook::calculated, std::nullopt, false});
    }

    const bool secondary = hookup == bench::Hookup::foot || hookup == bench::Hookup::pickup;
    // Of the coil as it stands now, like the curve; a shown run may have been compared with another.
    const std::optional<model::Calculated>& value = state.calculation.value;
    const auto* resonance = shown && (live || selected->shown) ? shown->resonance() : nullptr;
    const Color color = live       ? live_color
                        : selected ? theme.run_color(static_cast<std::size_t>(selected->id - 1))
                                   : theme.ink;
    add_marks(scene, resonance, value && secondary && pair == nullptr ? &*value : nullptr, color, theme);
    // Only against what the result itself was compared with.
    const bool compared = shown && shown->calculated && value && shown->calculated->frequency_hz == value->frequency_hz;
    if (shown && !compared) scene.difference.clear();
    const auto& tank = shown ? shown->calculated_tank : std::optional<model::TankCalculated>();
    if (tank) {
        scene.marks.push_back({tank->frequency_hz, tank->frequency_u95_hz,
                               "calculated " + hertz_with(tank->frequency_hz, tank->frequency_u95_hz), theme.calculated,
                               true});
    }
    if (pair != nullptr && selected != nullptr && selected->shown) {
        for (const auto& [peak, name] : {std::pair{&pair->lower, "lower "}, std::pair{&pair->upper, "upper "}}) {
            scene.marks.push_back({peak->frequency_hz, peak->frequency_u95_hz,
                                   name + hertz_with(peak->frequency_hz, peak->frequency_u95_hz), color, false});
        }
    }
    scene.empty_text = state.reading.coil ? "Nothing to draw yet: press the space bar to sweep."
                                          : "Nothing to draw yet: complete step 1, or press the space bar to sweep.";
    std::erase_if(kept_, [](const auto& entry) { return !entry.second.used; });
    return scene;
}

}  // namespace coldtune::gui
