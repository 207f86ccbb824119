#include "gui/scene_builder.hpp"

#include <fmt/format.h>

#include <cmath>

namespace coldtune::gui {

using measure::Quantity;

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
    const auto [upper, lower] = quantities_of(state.pair);
    for (Quantity q : {upper, lower}) {
        scene.panes.push_back({std::string(measure::quantity_name(q)), std::string(measure::quantity_unit(q)), {}});
    }
    const auto add = [&](const std::shared_ptr<const measure::Curve>& curve, CurveLook look, Color color) {
        if (auto d = data(curve, upper)) scene.panes[0].curves.push_back({std::move(d), look, color});
        if (auto d = data(curve, lower)) scene.panes[1].curves.push_back({std::move(d), look, color});
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
    bool any_fitted = false;
    for (std::size_t k = 0; k < state.runs.size(); ++k) {
        const Run& run = state.runs[k];
        const Color color = theme.run_color(static_cast<std::size_t>(run.id - 1));
        const auto* resonance = run.result.resonance();
        std::string label = run.name;
        const bool accepted = run.result.verdict() != measure::Verdict::rejected;
        label += resonance ? "  " + hertz(resonance->frequency_hz) : std::string(accepted ? "" : "  no result");
        const bool drawable = run.measured && run.measured->frequency_hz.size() > 1;
        if (!drawable) continue;
        scene.legend.push_back({label, color, CurveLook::measured, run.id, !run.shown});
        if (!run.shown) continue;
        add(run.measured, CurveLook::measured, color);
        if (run.fitted) {
            add(run.fitted, CurveLook::fitted, state.runs.size() > 1 ? color : theme.ink);
            any_fitted = true;
        }
    }
    const Color live_color = theme.run_color(static_cast<std::size_t>(state.next_run - 1));
    if (live && state.following->measured) {
        add(state.following->measured, CurveLook::measured, live_color);
        scene.legend.push_back({"live", live_color, CurveLook::measured, std::nullopt, false});
        if (state.following->fitted) {
            add(state.following->fitted, CurveLook::fitted, theme.ink);
            any_fitted = true;
        }
    }
    if (any_fitted) scene.legend.push_back({"fitted", theme.ink, CurveLook::fitted, std::nullopt, false});
    if (calculated && calculated->frequency_hz.size() > 1) {
        add(calculated, CurveLook::calculated, theme.calculated);
        scene.legend.push_back({"calculated", theme.calculated, CurveLook::calculated, std::nullopt, false});
    }

    const bool secondary = hookup == bench::Hookup::foot || hookup == bench::Hookup::pickup;
    const std::optional<model::Calculated>& value =
        shown && shown->calculated ? shown->calculated : state.calculation.value;
    const auto* resonance = shown && (live || selected->shown) ? shown->resonance() : nullptr;
    const Color color = live       ? live_color
                        : selected ? theme.run_color(static_cast<std::size_t>(selected->id - 1))
                                   : theme.ink;
    add_marks(scene, resonance, value && secondary && pair == nullptr ? &*value : nullptr, color, theme);
    // Only against what the result itself was compared with.
    if (shown && !shown->calculated) scene.difference.clear();
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
    scene.empty_text = "Nothing to draw yet: describe the coil, or press the space bar to sweep.";
    std::erase_if(kept_, [](const auto& entry) { return !entry.second.used; });
    return scene;
}

}  // namespace coldtune::gui
