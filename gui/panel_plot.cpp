// The overlay plot with its controls, mouse gestures and cursor readout.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

void controls(const Ui& ui, float width) {
    const State& s = ui.s;
    const float start = ImGui::GetCursorPosX();
    const auto next = [&](std::string_view label, float space) {
        const float wide =
            ImGui::CalcTextSize(label.data(), label.data() + label.size()).x + 2 * ImGui::GetStyle().FramePadding.x;
        ImGui::SameLine(0, ui.px(space));
        if (ImGui::GetCursorPosX() + wide > start + width) ImGui::NewLine();
    };
    ImGui::PushFont(ui.fonts.small);
    ImGui::PushStyleVar(ImGuiStyleVar_FramePadding, ImVec2{ui.px(8), ui.px(5)});
    for (int k = 0; k < kPlotPairs; ++k) {
        const auto pair = static_cast<PlotPair>(k);
        if (k > 0) next(pair_title(pair), 4);
        if (button(ui, "pair." + std::to_string(k), pair_title(pair),
                   pair == s.pair ? ButtonKind::chosen : ButtonKind::ordinary)) {
            ui.ask(action(Do::plot_pair, static_cast<double>(k)));
        }
    }
    const auto toggle = [&](const char* name, std::string_view label, bool on, Do what, float space) {
        next(label, space);
        if (button(ui, name, label, on ? ButtonKind::chosen : ButtonKind::ordinary)) ui.ask(action(what));
    };
    toggle("plot.logx", "log f", s.view.x.scale == Scale::logarithmic, Do::plot_log_frequency, 18);
    toggle("plot.logy", "log value", s.view.y[0].scale == Scale::logarithmic, Do::plot_log_value, 4);
    toggle("plot.near", "Resonance", false, Do::plot_near, 18);
    toggle("plot.all", "All", false, Do::plot_all, 4);
    toggle("plot.svg", "Save SVG", false, Do::save_svg, 18);
    toggle("plot.png", "Save PNG", false, Do::save_png, 4);
    ImGui::PopStyleVar();
    ImGui::PopFont();
}

std::string cursor_words(const PlotScene& scene, const Cursor& cursor, const char* letter) {
    std::string text = fmt::format("{}  {}", letter, hertz(cursor.frequency_hz, 5));
    for (const PlotPane& pane : scene.panes) {
        // The latest measured curve under the cursor, else what was calculated.
        const CurveData* chosen = nullptr;
        for (CurveLook look : {CurveLook::calculated, CurveLook::measured}) {
            for (const PlotCurve& c : pane.curves) {
                if (c.look == look && c.data && value_of(*c.data, cursor.frequency_hz)) chosen = c.data.get();
            }
        }
        if (chosen == nullptr) continue;
        text += "   " + number_with_unit(*value_of(*chosen, cursor.frequency_hz), pane.unit, 4);
    }
    return text;
}

void cursor_readout(const Ui& ui, const PlotScene& scene) {
    const PlotView& v = ui.s.view;
    if (!v.cursor_a && !v.cursor_b) return;
    std::string text;
    if (v.cursor_a) text += cursor_words(scene, *v.cursor_a, "A");
    if (v.cursor_b) text += (text.empty() ? "" : "\n") + cursor_words(scene, *v.cursor_b, "B");
    if (v.cursor_a && v.cursor_b) {
        const double d = v.cursor_b->frequency_hz - v.cursor_a->frequency_hz;
        text += fmt::format("\nB \u2212 A  {}{}  ({:+.2f} %)", d < 0 ? "\u2212" : "", hertz(std::abs(d), 4),
                            100 * d / v.cursor_a->frequency_hz);
    }
    paragraph(ui, text);
    ui.mark("cursor.readout");
}

int lines_of_readout(const PlotView& v) {
    return (v.cursor_a ? 1 : 0) + (v.cursor_b ? 1 : 0) + (v.cursor_a && v.cursor_b ? 1 : 0);
}

const Rect* pane_at(const PlotLayout& layout, Point p) {
    for (const Rect& r : layout.panes) {
        if (r.contains(p)) return &r;
    }
    return nullptr;
}

void gestures(const Ui& ui, const PlotLayout& layout, PlotGesture& gesture, bool hovered, bool active) {
    ImGuiIO& io = ImGui::GetIO();
    const Point mouse{io.MousePos.x, io.MousePos.y};
    PlotView& view = ui.app.view();
    const Rect* pane = pane_at(layout, mouse);
    const auto share_x = [&](const Rect& r, float x) { return static_cast<double>((x - r.left) / r.width()); };
    const auto share_y = [&](const Rect& r, float y) { return static_cast<double>((r.bottom - y) / r.height()); };

    if (hovered && pane != nullptr && io.MouseWheel != 0) {
        const double factor = std::pow(1.2, static_cast<double>(io.MouseWheel));
        if (io.KeyShift) {
            zoom(view.y[static_cast<std::size_t>(pane - layout.panes.data())], share_y(*pane, mouse.y), factor);
            ui.app.view_moved(true);
        } else {
            zoom(view.x, share_x(*pane, mouse.x), factor);
            ui.app.view_moved(false);
        }
    }
    const bool left_click = hovered && ImGui::IsMouseClicked(0), right_click = hovered && ImGui::IsMouseClicked(1);
    if (hovered && pane != nullptr && ImGui::IsMouseDoubleClicked(0)) {
        ui.ask(action(Do::plot_near));
        ui.ask(action(Do::clear_cursors));
        gesture = {};
        return;
    }
    if (left_click || right_click) {
        gesture = {};
        if (pane != nullptr) {
            gesture.kind = right_click || io.KeyCtrl ? PlotGesture::Kind::box : PlotGesture::Kind::pan;
            gesture.from = mouse;
        }
    }
    if (gesture.kind == PlotGesture::Kind::none) {
        if (left_click) {
            for (const auto& [place, run] : layout.legend_runs) {
                if (place.contains(mouse)) ui.ask(action(Do::toggle_run, static_cast<double>(run)));
            }
        }
        return;
    }
    const Rect* from = pane_at(layout, gesture.from);
    if (from == nullptr) {
        gesture = {};
        return;
    }
    const bool held = ImGui::IsMouseDown(0) || ImGui::IsMouseDown(1);
    gesture.moved = gesture.moved || std::hypot(mouse.x - gesture.from.x, mouse.y - gesture.from.y) > ui.px(4);
    if (held && active && gesture.kind == PlotGesture::Kind::pan && gesture.moved) {
        if (io.MouseDelta.x != 0) {
            pan(view.x, -static_cast<double>(io.MouseDelta.x / from->width()));
            ui.app.view_moved(false);
        }
        return;
    }
    if (held) return;
    if (gesture.kind == PlotGesture::Kind::box && gesture.moved) {
        const auto at = static_cast<std::size_t>(from - layout.panes.data());
        zoom_to(view.x, share_x(*from, gesture.from.x), share_x(*from, std::clamp(mouse.x, from->left, from->right)));
        zoom_to(view.y[at], share_y(*from, gesture.from.y),
                share_y(*from, std::clamp(mouse.y, from->top, from->bottom)));
        ui.app.view_moved(true);
    } else if (!gesture.moved) {
        const double f = PaneMap(*from, view.x, view.y[0]).x_value(gesture.from.x);
        ui.ask(action(io.KeyShift || gesture.kind == PlotGesture::Kind::box ? Do::cursor_b : Do::cursor_a, f));
    }
    gesture = {};
}

}  // namespace

void plot_panel(const Ui& ui, Rect area, PlotCache& cache, PlotGesture& gesture) {
    ImGui::SetCursorScreenPos({area.left, area.top});
    controls(ui, area.width());
    const float top = ImGui::GetCursorScreenPos().y;
    const int lines = lines_of_readout(ui.s.view);
    const float below = lines > 0 ? ImGui::GetTextLineHeight() * static_cast<float>(lines) + ui.px(8) : 0;
    const Rect plot{area.left, top, area.right, std::max(top + ui.px(160), area.bottom - below)};
    ui.mark("plot", plot);

    const PlotScene& scene = ui.app.scene();
    ImGui::SetCursorScreenPos({plot.left, plot.top});
    ImGui::InvisibleButton("plot.surface", {plot.width(), plot.height()},
                           ImGuiButtonFlags_MouseButtonLeft | ImGuiButtonFlags_MouseButtonRight);
    const bool hovered = ImGui::IsItemHovered(), active = ImGui::IsItemActive();

    std::optional<Rect> selection;
    if (gesture.kind == PlotGesture::Kind::box && gesture.moved) {
        const ImVec2 m = ImGui::GetIO().MousePos;
        selection = Rect{std::min(gesture.from.x, m.x), std::min(gesture.from.y, m.y), std::max(gesture.from.x, m.x),
                         std::max(gesture.from.y, m.y)};
    }
    ImguiCanvas canvas = canvas_here(ui);
    const PlotLayout layout = draw_plot(canvas, plot, scene, ui.s.view, {ui.theme, ui.scale}, cache, selection);
    for (std::size_t k = 0; k < layout.panes.size(); ++k) ui.mark("pane." + std::to_string(k), layout.panes[k]);
    for (const auto& [place, run] : layout.legend_runs) ui.mark("legend." + std::to_string(run), place);
    gestures(ui, layout, gesture, hovered, active);
    if (below > 0) {
        ImGui::SetCursorScreenPos({plot.left, plot.bottom + ui.px(6)});
        cursor_readout(ui, scene);
    }
}

}  // namespace coldtune::gui
