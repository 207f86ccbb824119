// A canvas that becomes an SVG file (SVG 1.1, W3C).
#pragma once

#include <string>

#include "analyzer/picture/canvas.hpp"

namespace coldtune::picture {

class SvgCanvas final : public Canvas {
public:
    // A picture of this many pixels on a ground of this colour; text in any sans-serif face. Pictures that stand in one
    // HTML document need different names: they begin the identifiers in it (letters and digits).
    SvgCanvas(float width, float height, Color ground, float ordinary_size, std::string name = "area");

    void clip(Rect area) override;
    void unclip() override;
    void polyline(std::span<const Point> points, Color color, float width) override;
    void polygon(std::span<const Point> corners, Color fill) override;
    void ribbon(std::span<const Point> upper, std::span<const Point> lower, Color fill) override;
    void rectangle(Rect area, Color fill, float corner_radius) override;
    void disc(Point centre, float radius, Color fill) override;
    void ring(Point centre, float radius, Color color, float width) override;
    void text(Point at, std::string_view text, const TextStyle& style) override;
    // An estimate: the reader's own font decides.
    [[nodiscard]] Point extent(std::string_view text, float size, Weight weight) const override;
    [[nodiscard]] float ordinary_size() const override { return ordinary_size_; }

    // The whole file. `title` is what a screen reader says in place of the picture.
    [[nodiscard]] std::string file(std::string_view title = {}) const;
    // The same without the XML declaration, to stand inside HTML; as wide as there is room, but no wider than drawn.
    [[nodiscard]] std::string element(std::string_view title) const;

private:
    [[nodiscard]] std::string svg(std::string_view attributes, std::string_view title) const;
    float width_, height_;
    Color ground_;
    float ordinary_size_;
    std::string name_;
    std::string body_;
    std::size_t clips_ = 0;
    bool clipping_ = false;
};

}  // namespace coldtune::picture
