// A surface to draw on. The window, an SVG file and the tests each have one of their own, so a picture is described
// once and looks the same everywhere.
//
// Coordinates are pixels, x to the right, y downwards. Widths and text sizes are pixels too. Nothing here is
// thread-safe: a canvas belongs to the thread that draws.
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

namespace coldtune::picture {

struct Point {
    float x = 0;
    float y = 0;
};

struct Rect {
    float left = 0, top = 0, right = 0, bottom = 0;
    [[nodiscard]] float width() const { return right - left; }
    [[nodiscard]] float height() const { return bottom - top; }
    [[nodiscard]] Point centre() const { return {(left + right) / 2, (top + bottom) / 2}; }
    [[nodiscard]] bool contains(Point p) const { return p.x >= left && p.x <= right && p.y >= top && p.y <= bottom; }
    [[nodiscard]] Rect inset(float by) const { return {left + by, top + by, right - by, bottom - by}; }
};

struct Color {
    std::uint8_t r = 0, g = 0, b = 0, a = 255;
    [[nodiscard]] constexpr Color with_alpha(std::uint8_t alpha) const { return {r, g, b, alpha}; }
    friend bool operator==(const Color&, const Color&) = default;
};

enum class Anchor { start, middle, end };
enum class Weight { regular, strong };

struct TextStyle {
    Color color;
    float size = 0;  // 0 = the canvas's ordinary size
    Weight weight = Weight::regular;
    Anchor horizontal = Anchor::start;  // which part of the text stands at the point
    Anchor vertical = Anchor::start;
};

class Canvas {
public:
    virtual ~Canvas() = default;

    // Everything until unclip is cut off outside the rectangle. Not nested.
    virtual void clip(Rect area) = 0;
    virtual void unclip() = 0;

    virtual void polyline(std::span<const Point> points, Color color, float width) = 0;
    virtual void polygon(std::span<const Point> corners, Color fill) = 0;  // convex
    // The area between two curves with the same x positions.
    virtual void ribbon(std::span<const Point> upper, std::span<const Point> lower, Color fill) = 0;
    virtual void rectangle(Rect area, Color fill, float corner_radius) = 0;
    virtual void disc(Point centre, float radius, Color fill) = 0;
    virtual void ring(Point centre, float radius, Color color, float width) = 0;
    virtual void text(Point at, std::string_view text, const TextStyle& style) = 0;

    // Width and height the text takes. size 0 = ordinary.
    [[nodiscard]] virtual Point extent(std::string_view text, float size, Weight weight) const = 0;
    [[nodiscard]] virtual float ordinary_size() const = 0;

    // Made from the above.
    void line(Point from, Point to, Color color, float width);
    void dashed_line(Point from, Point to, Color color, float width, float dash, float gap);
    void dashed_polyline(std::span<const Point> points, Color color, float width, float dash, float gap);
    void frame(Rect area, Color color, float width);
    void arrow(Point from, Point to, Color color, float width, float head);
};

}  // namespace coldtune::picture
