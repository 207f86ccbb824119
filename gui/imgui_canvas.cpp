#include "gui/imgui_canvas.hpp"

#include <algorithm>
#include <array>
#include <cfloat>
#include <cmath>

namespace coldtune::gui {
namespace {

static_assert(sizeof(Point) == sizeof(ImVec2), "points are handed over as they lie in memory");

const ImVec2* as_vec(std::span<const Point> points) {
    return reinterpret_cast<const ImVec2*>(points.data());
}

}  // namespace

ImVec4 vec4(Color c) {
    return ImGui::ColorConvertU32ToFloat4(packed(c));
}

void ImguiCanvas::clip(Rect area) {
    list_.PushClipRect({area.left, area.top}, {area.right, area.bottom}, true);
}
void ImguiCanvas::unclip() {
    list_.PopClipRect();
}

void ImguiCanvas::polyline(std::span<const Point> points, Color color, float width) {
    if (points.size() < 2) return;
    list_.AddPolyline(as_vec(points), static_cast<int>(points.size()), packed(color), ImDrawFlags_None, width);
}

void ImguiCanvas::polygon(std::span<const Point> corners, Color fill) {
    if (corners.size() < 3) return;
    list_.AddConvexPolyFilled(as_vec(corners), static_cast<int>(corners.size()), packed(fill));
}

void ImguiCanvas::ribbon(std::span<const Point> upper, std::span<const Point> lower, Color fill) {
    const std::size_t n = std::min(upper.size(), lower.size());
    if (n < 2) return;
    // Two triangles a stretch, written at once: a ribbon is not convex, and edges are softened by the curve over it.
    constexpr std::size_t kMost = 8000;  // vertices of a piece stay far under what one index can reach
    const ImVec2 uv = ImGui::GetFontTexUvWhitePixel();
    const ImU32 color = packed(fill);
    for (std::size_t from = 0; from + 1 < n; from += kMost - 1) {
        const std::size_t count = std::min(kMost, n - from);
        const int stretches = static_cast<int>(count) - 1;
        list_.PrimReserve(stretches * 6, static_cast<int>(count) * 2);
        const unsigned base = list_._VtxCurrentIdx;
        for (std::size_t k = 0; k < count; ++k) {
            list_.PrimWriteVtx(vec(upper[from + k]), uv, color);
            list_.PrimWriteVtx(vec(lower[from + k]), uv, color);
        }
        for (int k = 0; k < stretches; ++k) {
            const unsigned v = base + 2 * static_cast<unsigned>(k);
            for (unsigned i : {v, v + 1, v + 2, v + 2, v + 1, v + 3}) list_.PrimWriteIdx(static_cast<ImDrawIdx>(i));
        }
    }
}

void ImguiCanvas::rectangle(Rect area, Color fill, float corner_radius) {
    list_.AddRectFilled({area.left, area.top}, {area.right, area.bottom}, packed(fill), corner_radius);
}
void ImguiCanvas::disc(Point centre, float radius, Color fill) {
    list_.AddCircleFilled(vec(centre), radius, packed(fill));
}
void ImguiCanvas::ring(Point centre, float radius, Color color, float width) {
    list_.AddCircle(vec(centre), radius, packed(color), 0, width);
}

const ImFont& ImguiCanvas::font_of(float size, Weight weight) const {
    const std::array<const ImFont*, 2> regular{fonts_.small, fonts_.body};
    const std::array<const ImFont*, 4> strong{fonts_.strong, fonts_.title, fonts_.half, fonts_.readout};
    const std::span<const ImFont* const> candidates =
        weight == Weight::strong ? std::span<const ImFont* const>(strong) : std::span<const ImFont* const>(regular);
    return **std::min_element(candidates.begin(), candidates.end(), [&](const ImFont* a, const ImFont* b) {
        return std::abs(a->FontSize - size) < std::abs(b->FontSize - size);
    });
}

Point ImguiCanvas::extent(std::string_view text, float size, Weight weight) const {
    if (!(size > 0)) size = ordinary_size_;
    const ImVec2 e = font_of(size, weight).CalcTextSizeA(size, FLT_MAX, 0, text.data(), text.data() + text.size());
    return {e.x, e.y};
}

void ImguiCanvas::text(Point at, std::string_view text, const TextStyle& style) {
    const Point size = extent(text, style.size, style.weight);
    const auto shift = [](Anchor anchor, float length) {
        return anchor == Anchor::start ? 0.0F : anchor == Anchor::middle ? length / 2 : length;
    };
    // Whole pixels keep letters sharp.
    const ImVec2 corner{std::floor(at.x - shift(style.horizontal, size.x)),
                        std::floor(at.y - shift(style.vertical, size.y))};
    const float pixels = style.size > 0 ? style.size : ordinary_size_;
    list_.AddText(&font_of(pixels, style.weight), pixels, corner, packed(style.color), text.data(),
                  text.data() + text.size());
}

}  // namespace coldtune::gui
