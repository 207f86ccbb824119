#include "gui/theme.hpp"

#include <imgui.h>

#include "gui/imgui_canvas.hpp"

namespace coldtune::gui {

void apply_to_widgets(const Theme& t, float scale) {
    ImGuiStyle style;
    style.WindowPadding = {16, 14};
    style.FramePadding = {10, 6};
    style.ItemSpacing = {10, 8};
    style.ItemInnerSpacing = {8, 6};
    style.CellPadding = {8, 5};
    style.ScrollbarSize = 12;
    style.GrabMinSize = 14;
    style.WindowRounding = 6;
    style.ChildRounding = 6;
    style.FrameRounding = 5;
    style.PopupRounding = 6;
    style.GrabRounding = 7;
    style.ScrollbarRounding = 6;
    style.WindowBorderSize = 0;
    style.ChildBorderSize = 0;
    style.PopupBorderSize = 1;
    style.FrameBorderSize = 1;
    style.WindowMenuButtonPosition = ImGuiDir_None;
    style.ScaleAllSizes(scale);

    const auto set = [&](int which, Color color) { style.Colors[which] = vec4(color); };
    const Color clear = t.ground.with_alpha(0);
    set(ImGuiCol_Text, t.ink);
    set(ImGuiCol_TextDisabled, t.soft_ink);
    set(ImGuiCol_WindowBg, t.ground);
    set(ImGuiCol_ChildBg, clear);
    set(ImGuiCol_PopupBg, t.panel);
    set(ImGuiCol_Border, t.rule);
    set(ImGuiCol_BorderShadow, clear);
    set(ImGuiCol_FrameBg, t.panel);
    set(ImGuiCol_FrameBgHovered, t.panel);
    set(ImGuiCol_FrameBgActive, t.panel);
    set(ImGuiCol_TitleBg, t.panel);
    set(ImGuiCol_TitleBgActive, t.panel);
    set(ImGuiCol_ScrollbarBg, clear);
    set(ImGuiCol_ScrollbarGrab, t.pressed);
    set(ImGuiCol_ScrollbarGrabHovered, t.soft_ink);
    set(ImGuiCol_ScrollbarGrabActive, t.soft_ink);
    set(ImGuiCol_CheckMark, t.accent);
    set(ImGuiCol_SliderGrab, t.accent);
    set(ImGuiCol_SliderGrabActive, t.accent);
    set(ImGuiCol_Button, t.raised);
    set(ImGuiCol_ButtonHovered, t.pressed);
    set(ImGuiCol_ButtonActive, t.pressed);
    set(ImGuiCol_Header, t.raised);
    set(ImGuiCol_HeaderHovered, t.raised);
    set(ImGuiCol_HeaderActive, t.pressed);
    set(ImGuiCol_Separator, t.rule);
    set(ImGuiCol_TableHeaderBg, clear);
    set(ImGuiCol_TableBorderLight, t.rule);
    set(ImGuiCol_TableBorderStrong, t.rule);
    set(ImGuiCol_TableRowBg, clear);
    set(ImGuiCol_TextSelectedBg, t.accent.with_alpha(90));
    set(ImGuiCol_NavHighlight, t.accent);
    set(ImGuiCol_ModalWindowDimBg, Color{0, 0, 0, 110});
    set(ImGuiCol_PlotHistogram, t.accent);
    ImGui::GetStyle() = style;
}

}  // namespace coldtune::gui
