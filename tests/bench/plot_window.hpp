// The window's plot without a screen: two panes, Dear ImGui with no backend. What a frame costs but for the graphics
// card's part.
#pragma once

#include <imgui.h>

#include <stdexcept>
#include <utility>

#include "gui/imgui_canvas.hpp"
#include "gui/picture.hpp"

namespace coldtune::gui {

class PlotWindow {
public:
    PlotWindow() {
        ImGui::CreateContext();
        ImGui::GetIO().IniFilename = nullptr;
        ImGui::GetIO().DisplaySize = {1280, 800};
        ImGui::GetIO().BackendFlags |= ImGuiBackendFlags_RendererHasVtxOffset;
        const auto files = find_fonts();
        if (!files) throw std::runtime_error(files.error().message);
        const auto fonts = load_fonts(*files, 1);
        if (!fonts) throw std::runtime_error(fonts.error().message);
        fonts_ = *fonts;
        view_.y[0].scale = Scale::logarithmic;
    }
    ~PlotWindow() { ImGui::DestroyContext(); }
    PlotWindow(const PlotWindow&) = delete;
    PlotWindow& operator=(const PlotWindow&) = delete;

    // Two panes, at least one curve in each.
    void show(PlotScene scene) {
        scene_ = std::move(scene);
        set_home(view_.x, *data_x(scene_), true);
        for (std::size_t k = 0; k < 2; ++k) {
            set_home(view_.y[k], *data_y(scene_.panes[k], view_.x.range, view_.y[k].scale), true);
        }
    }
    void frame() {
        ImGui::NewFrame();
        ImguiCanvas canvas(*ImGui::GetBackgroundDrawList(), fonts_, fonts_.small->FontSize);
        draw_plot(canvas, {440, 200, 1264, 760}, scene_, view_, {light_theme(), 1}, cache_);
        ImGui::Render();
    }
    PlotView& view() { return view_; }

private:
    Fonts fonts_;
    PlotScene scene_;
    PlotView view_;
    PlotCache cache_;
};

}  // namespace coldtune::gui
