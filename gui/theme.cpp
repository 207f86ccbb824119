#include "gui/theme.hpp"

#include <imgui.h>

#include "gui/imgui_canvas.hpp"

namespace coldtune::gui {
namespace {

constexpr Color rgb(unsigned value) {
    return {static_cast<std::uint8_t>(value >> 16U), static_cast<std::uint8_t>((value >> 8U) & 0xFFU),
            static_cast<std::uint8_t>(value & 0xFFU), 255};
}

const Theme kLight = {
    .dark = false,
    .ground = rgb(0xF3F1EC),
    .panel = rgb(0xFFFFFF),
    .raised = rgb(0xE5E1D8),
    .pressed = rgb(0xD6D0C3),
    .ink = rgb(0x1E2A33),
    .soft_ink = rgb(0x5B6670),
    .rule = rgb(0xDCD8CF),
    .accent = rgb(0x0B6E6E),
    .on_accent = rgb(0xFFFFFF),
    .good = rgb(0x1B7A3D),
    .caution = rgb(0x9A5B00),
    .rejected = rgb(0xB3261E),
    .copper = rgb(0xB8733A),
    .metal = rgb(0x8A949C),
    .calculated = rgb(0xB86200),
    .run = {rgb(0x1A46C8), rgb(0x1FA57C), rgb(0xA0127F), rgb(0x1E2A33), rgb(0x8C90B4)},
};

const Theme kDark = {
    .dark = true,
    .ground = rgb(0x1A2026),
    .panel = rgb(0x12161B),
    .raised = rgb(0x2B343C),
    .pressed = rgb(0x3A4650),
    .ink = rgb(0xEEF1F3),
    .soft_ink = rgb(0xA3AEB7),
    .rule = rgb(0x323C45),
    .accent = rgb(0x45C4BC),
    .on_accent = rgb(0x0B1416),
    .good = rgb(0x6BCB8B),
    .caution = rgb(0xF0B454),
    .rejected = rgb(0xFF8A80),
    .copper = rgb(0xCF8A52),
    .metal = rgb(0x9AA6AF),
    .calculated = rgb(0xDA9A2C),
    .run = {rgb(0x7FB2FF), rgb(0x3BE8AE), rgb(0xD0548C), rgb(0xF3EEF8), rgb(0x7656E0)},
};

}  // namespace

const Theme& light_theme() {
    return kLight;
}
const Theme& dark_theme() {
    return kDark;
}

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
