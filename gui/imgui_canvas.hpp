// The window's canvas: Dear ImGui's draw list.
#pragma once

#include <imgui.h>

#include "gui/fonts.hpp"
#include "gui/picture.hpp"

namespace coldtune::gui {

// Dear ImGui's packed colour.
[[nodiscard]] inline ImU32 packed(Color c) {
    return IM_COL32(c.r, c.g, c.b, c.a);
}
[[nodiscard]] inline ImVec2 vec(Point p) {
    return {p.x, p.y};
}
[[nodiscard]] ImVec4 vec4(Color c);

class ImguiCanvas final : public Canvas {
public:
    // List and fonts live as long as the canvas. Text is set in the loaded font nearest to its size, so that the sizes
    // of the fonts themselves come out sharp.
    ImguiCanvas(ImDrawList& list, const Fonts& fonts, float ordinary_size)
        : list_(list), fonts_(fonts), ordinary_size_(ordinary_size) {}

    void clip(Rect area) override;
    void unclip() override;
    void polyline(std::span<const Point> points, Color color, float width) override;
    void polygon(std::span<const Point> corners, Color fill) override;
    void ribbon(std::span<const Point> upper, std::span<const Point> lower, Color fill) override;
    void rectangle(Rect area, Color fill, float corner_radius) override;
    void disc(Point centre, float radius, Color fill) override;
    void ring(Point centre, float radius, Color color, float width) override;
    void text(Point at, std::string_view text, const TextStyle& style) override;
    [[nodiscard]] Point extent(std::string_view text, float size, Weight weight) const override;
    [[nodiscard]] float ordinary_size() const override { return ordinary_size_; }

private:
    [[nodiscard]] const ImFont& font_of(float size, Weight weight) const;
    ImDrawList& list_;
    const Fonts& fonts_;
    float ordinary_size_;
};

}  // namespace coldtune::gui
