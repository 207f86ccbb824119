#include "gui/headline.hpp"

#include "gui/panels.hpp"

namespace coldtune::gui {

// Draws the headline as large as the width allows, up to the readout font.
float draw_headline(const Ui& ui, const Headline& h, float width, const std::string& name) {
    const ImVec2 at = ImGui::GetCursorScreenPos();
    ImguiCanvas figures(*ImGui::GetWindowDrawList(), ui.fonts, ui.fonts.readout->FontSize);
    const float full = ui.fonts.readout->FontSize;
    const auto widths = [&](float size) {
        return figures.extent(h.large, size, Weight::strong).x +
               (h.after.empty() ? 0 : size * 0.22F + figures.extent(h.after, size * 0.5F, Weight::strong).x);
    };
    float size = full;
    while (size > full * 0.4F && widths(size) > width) size *= 0.94F;

    float y = at.y;
    soft(ui, h.small);
    y = ImGui::GetCursorScreenPos().y - ImGui::GetStyle().ItemSpacing.y;
    figures.text({at.x, y}, h.large, {h.color, size, Weight::strong});
    if (!h.after.empty()) {
        // On the same base line: a line of Open Sans stands 0.78 of its height above it.
        const float x = at.x + figures.extent(h.large, size, Weight::strong).x + size * 0.22F;
        figures.text({x, y + size * 0.5F * 0.78F}, h.after, {h.color, size * 0.5F, Weight::strong});
    }
    y += size * 1.04F;
    ImGui::SetCursorScreenPos({at.x, y});
    // In a low window the picture beneath has more use of the height.
    ImGui::PushFont(ImGui::GetWindowHeight() < ui.px(520) ? ui.fonts.strong : ui.fonts.title);
    // Facts side by side where they fit, beneath one another where not.
    float x = 0;
    for (std::size_t k = 0; k < h.second.size(); ++k) {
        const float wide = ImGui::CalcTextSize(h.second[k].c_str()).x;
        if (k > 0 && x + ui.px(28) + wide <= width) {
            ImGui::SameLine(0, ui.px(28));
            x += ui.px(28) + wide;
        } else {
            x = wide;
        }
        if (wide > width) ImGui::PushFont(ui.fonts.body);
        paragraph(ui, h.second[k]);
        if (wide > width) ImGui::PopFont();
    }
    ImGui::PopFont();
    const float bottom = ImGui::GetCursorScreenPos().y;
    ui.mark(name, {at.x, at.y, at.x + width, bottom});
    return bottom - at.y;
}

// "63.410 +- 0.012 kHz" taken apart: figure and unit large, half-width beside it.
std::pair<std::string, std::string> split_figure(double value, double half_width, record::Unit unit) {
    const std::string text = record::format_with_uncertainty(value, half_width, unit, true);
    const auto sign = text.find(" \u00b1 ");
    const auto space = text.rfind(' ');
    if (sign == std::string::npos || space == std::string::npos || space <= sign) return {text, {}};
    if (space == sign + 3) return {text.substr(0, sign), text.substr(sign + 1)};  // no unit
    return {text.substr(0, sign) + text.substr(space), "\u00b1 " + text.substr(sign + 4, space - sign - 4)};
}

}  // namespace coldtune::gui
