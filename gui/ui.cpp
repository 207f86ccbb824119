#include "gui/ui.hpp"

#include <imgui_stdlib.h>

#include <algorithm>
#include <cmath>

#include "gui/wrapped_text.hpp"

namespace coldtune::gui {
namespace {

ImVec4 mix(Color a, Color b, float t) {
    const ImVec4 x = vec4(a), y = vec4(b);
    return {x.x + (y.x - x.x) * t, x.y + (y.y - x.y) * t, x.z + (y.z - x.z) * t, 1.0F};
}

const char* end_of(std::string_view text) {
    return text.data() + text.size();
}

float text_width(std::string_view text) {
    return ImGui::CalcTextSize(text.data(), end_of(text)).x;
}

void tooltip(const Ui& ui, std::string_view text) {
    ImGui::BeginTooltip();
    const std::string lines = wrapped(text, ui.px(340), text_width);
    ImGui::TextUnformatted(lines.data(), end_of(lines));
    ImGui::EndTooltip();
}

}  // namespace

void Ui::mark(const std::string& name) const {
    const ImVec2 a = ImGui::GetItemRectMin(), b = ImGui::GetItemRectMax();
    places[name] = {a.x, a.y, b.x, b.y};
}

bool button(const Ui& ui, const std::string& name, std::string_view label, ButtonKind kind, float width, bool enabled) {
    const Theme& t = ui.theme;
    int pushed = 4;
    switch (kind) {
        case ButtonKind::primary:
            ImGui::PushStyleColor(ImGuiCol_Button, vec4(t.accent));
            ImGui::PushStyleColor(ImGuiCol_ButtonHovered, mix(t.accent, t.ink, 0.15F));
            ImGui::PushStyleColor(ImGuiCol_ButtonActive, mix(t.accent, t.ink, 0.3F));
            ImGui::PushStyleColor(ImGuiCol_Text, vec4(t.on_accent));
            break;
        case ButtonKind::quiet:
            ImGui::PushStyleColor(ImGuiCol_Button, vec4(t.ground.with_alpha(0)));
            ImGui::PushStyleColor(ImGuiCol_ButtonHovered, vec4(t.raised));
            ImGui::PushStyleColor(ImGuiCol_ButtonActive, vec4(t.pressed));
            ImGui::PushStyleColor(ImGuiCol_Text, vec4(t.accent));
            break;
        case ButtonKind::chosen:
            ImGui::PushStyleColor(ImGuiCol_Button, vec4(t.ink));
            ImGui::PushStyleColor(ImGuiCol_ButtonHovered, vec4(t.ink));
            ImGui::PushStyleColor(ImGuiCol_ButtonActive, vec4(t.ink));
            ImGui::PushStyleColor(ImGuiCol_Text, vec4(t.panel));
            break;
        case ButtonKind::ordinary:
            pushed = 0;
            break;
    }
    ImGui::PushStyleVar(ImGuiStyleVar_FrameBorderSize, 0);
    ImGui::BeginDisabled(!enabled);
    const std::string id = std::string(label) + "##" + name;
    // A quiet button has no edge to see: its text lines up with what stands above it.
    if (kind == ButtonKind::quiet && width == 0)
        ImGui::SetCursorPosX(ImGui::GetCursorPosX() - ImGui::GetStyle().FramePadding.x);
    if (width < 0) width = std::max(1.0F, ImGui::GetContentRegionAvail().x + width);
    const bool pressed = ImGui::Button(id.c_str(), {width, 0});
    ImGui::EndDisabled();
    ImGui::PopStyleVar();
    ImGui::PopStyleColor(pushed);
    ui.mark(name);
    return pressed;
}

void paragraph(const Ui& ui, std::string_view text, Color color) {
    (void)ui;
    ImGui::PushStyleColor(ImGuiCol_Text, vec4(color));
    const std::string lines = wrapped(text, std::max(1.0F, ImGui::GetContentRegionAvail().x), text_width);
    ImGui::TextUnformatted(lines.data(), end_of(lines));
    ImGui::PopStyleColor();
}
void paragraph(const Ui& ui, std::string_view text) {
    paragraph(ui, text, ui.theme.ink);
}
void soft(const Ui& ui, std::string_view text) {
    ImGui::PushFont(ui.fonts.small);
    paragraph(ui, text, ui.theme.soft_ink);
    ImGui::PopFont();
}
void heading(const Ui& ui, std::string_view text) {
    ImGui::PushFont(ui.fonts.strong);
    paragraph(ui, text, ui.theme.ink);
    ImGui::PopFont();
}
void bullet(const Ui& ui, std::string_view text) {
    const float indent = ui.px(16);
    const ImVec2 at = ImGui::GetCursorScreenPos();
    canvas_here(ui).disc({at.x + ui.px(5), at.y + ImGui::GetTextLineHeight() * 0.55F}, ui.px(2.8F), ui.theme.ink);
    ImGui::Indent(indent);
    paragraph(ui, text);
    ImGui::Unindent(indent);
}
void gap(const Ui& ui, float ordinary) {
    ImGui::Dummy({0, ui.px(ordinary)});
}

void fact(const Ui& ui, std::string_view label, std::string_view value, float column) {
    const float left = ImGui::GetCursorPosX();
    ImGui::PushStyleColor(ImGuiCol_Text, vec4(ui.theme.soft_ink));
    ImGui::TextUnformatted(label.data(), end_of(label));
    ImGui::PopStyleColor();
    ImGui::SameLine(left + column);
    paragraph(ui, value);
}

bool text_field(const Ui& ui, const std::string& name, std::string_view hint, std::string& value, float width) {
    ImGui::SetNextItemWidth(width);
    const bool changed = ImGui::InputTextWithHint(("##" + name).c_str(), std::string(hint).c_str(), &value,
                                                  ImGuiInputTextFlags_AutoSelectAll);
    ui.mark(name);
    return changed;
}

void quantity_field(const Ui& ui, const FieldSpec& spec, const std::string& key, const std::string& value,
                    const std::string* complaint, bool enabled) {
    const float all = ImGui::GetContentRegionAvail().x;
    const float label_width = std::floor(all * 0.42F);
    const bool slider = spec.slider_high > spec.slider_low;
    const float field_width = std::floor(all * (slider ? 0.30F : 0.58F));
    const float left = ImGui::GetCursorPosX();
    ImGui::BeginDisabled(!enabled);
    ImGui::AlignTextToFramePadding();
    const float label_top = ImGui::GetCursorPosY();
    ImGui::PushStyleColor(ImGuiCol_Text, vec4(ui.theme.ink));
    ImGui::PushTextWrapPos(left + label_width - ui.px(6));
    ImGui::TextUnformatted(spec.label.data(), end_of(spec.label));
    ImGui::PopTextWrapPos();
    ImGui::PopStyleColor();
    const float label_bottom = ImGui::GetCursorPosY();
    ImGui::SetCursorPos({left + label_width, label_top});

    const bool wrong = complaint != nullptr;
    if (wrong) ImGui::PushStyleColor(ImGuiCol_Border, vec4(ui.theme.rejected));
    if (ui.scroll_to == key) {
        ui.scroll_to.clear();
        ImGui::SetScrollHereY(0.3F);
        ImGui::SetKeyboardFocusHere();
    }
    std::string edited = value;
    bool changed = text_field(ui, key, spec.optional ? "\u2013" : "", edited, field_width);
    const bool typing = ImGui::IsItemActive();
    const std::string_view beneath = wrong ? std::string_view(*complaint) : spec.hint;
    if (ImGui::IsItemHovered() && !typing) tooltip(ui, beneath);
    if (wrong) ImGui::PopStyleColor();

    if (slider) {
        // Drawn by hand: a hairline with a knob, logarithmic over its range where that spans much.
        ImGui::SameLine(0, ui.px(10));
        const Rect track = [&] {
            const ImVec2 at = ImGui::GetCursorScreenPos();
            const float width = std::max(ui.px(24), all - label_width - field_width - ui.px(12));
            return Rect{at.x, at.y, at.x + width, at.y + ImGui::GetFrameHeight()};
        }();
        ImGui::InvisibleButton(("##slide." + key).c_str(), {track.width(), track.height()});
        ui.mark("slide." + key);
        const bool logarithmic = spec.slider_low > 0 && spec.slider_high / spec.slider_low > 8;
        const Scale axis = logarithmic ? Scale::logarithmic : Scale::linear;
        const Range range{spec.slider_low, spec.slider_high};
        const float pad = ui.px(7);
        const auto now = record::parse_quantity(value, spec.unit);
        if (ImGui::IsItemActive()) {
            const float x = (ImGui::GetIO().MousePos.x - track.left - pad) / (track.width() - 2 * pad);
            const double wanted = value_at(static_cast<double>(std::clamp(x, 0.0F, 1.0F)), range, axis);
            // Three digits are as fine as a hand on a slider is.
            const std::string text = record::format_quantity(wanted, spec.unit, 3);
            if (text != value) {
                edited = text;
                changed = true;
            }
        }
        ImguiCanvas canvas = canvas_here(ui);
        const float middle = track.centre().y;
        canvas.line({track.left + pad, middle}, {track.right - pad, middle}, ui.theme.soft_ink.with_alpha(110),
                    ui.px(2));
        if (now) {
            const double at = std::clamp(position_of(*now, range, axis), 0.0, 1.0);
            const Point knob{track.left + pad + static_cast<float>(at) * (track.width() - 2 * pad), middle};
            const bool hot = ImGui::IsItemHovered() || ImGui::IsItemActive() ||
                             (ImGui::IsItemFocused() && ImGui::GetIO().NavVisible);
            canvas.disc(knob, ui.px(hot ? 8 : 6.5F), enabled ? ui.theme.accent : ui.theme.soft_ink);
        }
    }
    ImGui::EndDisabled();
    if (ImGui::GetCursorPosY() < label_bottom) ImGui::SetCursorPosY(label_bottom);
    // Close under its field.
    ImGui::SetCursorPosY(ImGui::GetCursorPosY() - ui.px(5));
    ImGui::PushFont(ui.fonts.small);
    paragraph(ui, on_one_line(beneath, all, text_width), wrong ? ui.theme.rejected : ui.theme.soft_ink);
    ImGui::PopFont();
    if (wrong) {
        ui.mark("complaint." + key);
        if (ImGui::IsItemHovered()) tooltip(ui, beneath);
    }
    if (changed && enabled) ui.ask({Do::set_field, key, edited, 0, false});
}

void complaint_line(const Ui& ui, const std::string& key, const std::string& text) {
    const std::string lines = wrapped(text, std::max(1.0F, ImGui::GetContentRegionAvail().x), text_width);
    const ImVec2 size = ImGui::CalcTextSize(lines.c_str());
    ImGui::PushStyleColor(ImGuiCol_Text, vec4(ui.theme.rejected));
    if (ImGui::Selectable((lines + "##goto." + key).c_str(), false, 0, size) && !key.empty()) ui.scroll_to = key;
    ImGui::PopStyleColor();
    ui.mark("goto." + key);
}

int choice(const Ui& ui, const std::string& name, std::string_view label, const std::vector<std::string>& options,
           int chosen, bool enabled) {
    const float all = ImGui::GetContentRegionAvail().x;
    const float label_width = std::floor(all * 0.42F);
    const float left = ImGui::GetCursorPosX();
    ImGui::BeginDisabled(!enabled);
    ImGui::AlignTextToFramePadding();
    ImGui::TextUnformatted(label.data(), end_of(label));
    ImGui::SameLine(left + label_width);
    ImGui::SetNextItemWidth(all - label_width);
    int picked = -1;
    const bool valid = chosen >= 0 && static_cast<std::size_t>(chosen) < options.size();
    const char* shown = valid ? options[static_cast<std::size_t>(chosen)].c_str() : "";
    if (ImGui::BeginCombo(("##" + name).c_str(), shown)) {
        ui.mark(name);
        for (std::size_t k = 0; k < options.size(); ++k) {
            const bool is = static_cast<int>(k) == chosen;
            if (ImGui::Selectable((options[k] + "##" + std::to_string(k)).c_str(), is)) picked = static_cast<int>(k);
            ui.mark(name + "." + std::to_string(k));
        }
        ImGui::EndCombo();
    } else {
        ui.mark(name);
    }
    ImGui::EndDisabled();
    return picked;
}

ImguiCanvas canvas_here(const Ui& ui) {
    return ImguiCanvas(*ImGui::GetWindowDrawList(), ui.fonts, ui.fonts.small->FontSize);
}

Rect room(float width, float height) {
    const ImVec2 at = ImGui::GetCursorScreenPos();
    ImGui::Dummy({std::max(1.0F, width), std::max(1.0F, height)});
    return {at.x, at.y, at.x + width, at.y + height};
}

}  // namespace coldtune::gui
