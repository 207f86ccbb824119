#include "analyzer/picture/svg_canvas.hpp"

#include <fmt/format.h>

#include <iterator>
#include <vector>

#include "analyzer/record/markup.hpp"

namespace coldtune::picture {
namespace {

std::string hex(Color c) {
    return fmt::format("#{:02x}{:02x}{:02x}", c.r, c.g, c.b);
}

std::string opacity(const char* what, Color c) {
    return c.a == 255 ? std::string() : fmt::format(" {}-opacity=\"{:.3f}\"", what, c.a / 255.0);
}

// XML makes one space of several.
std::string escaped(std::string_view given) {
    std::string out;
    for (char c : record::markup_text(given)) {
        if (c == ' ' && out.ends_with(' ')) {
            out.back() = '\xC2';
            out += "\xA0";
        }
        out += c;
    }
    return out;
}

std::string listed(std::span<const Point> points) {
    std::string out;
    for (const Point& p : points) fmt::format_to(std::back_inserter(out), "{:.2f},{:.2f} ", p.x, p.y);
    if (!out.empty()) out.pop_back();
    return out;
}

}  // namespace

SvgCanvas::SvgCanvas(float width, float height, Color ground, float ordinary_size, std::string name)
    : width_(width), height_(height), ground_(ground), ordinary_size_(ordinary_size), name_(std::move(name)) {}

void SvgCanvas::clip(Rect a) {
    ++clips_;
    body_ += fmt::format(
        "<clipPath id=\"{5}{0}\"><rect x=\"{1:.2f}\" y=\"{2:.2f}\" width=\"{3:.2f}\" height=\"{4:.2f}\"/></clipPath>\n"
        "<g clip-path=\"url(#{5}{0})\">\n",
        clips_, a.left, a.top, a.width(), a.height(), name_);
    clipping_ = true;
}
void SvgCanvas::unclip() {
    if (clipping_) body_ += "</g>\n";
    clipping_ = false;
}

void SvgCanvas::polyline(std::span<const Point> points, Color color, float width) {
    if (points.size() < 2) return;
    body_ += fmt::format(
        "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\"{} stroke-width=\"{:.2f}\" stroke-linejoin=\"round\"/>\n",
        listed(points), hex(color), opacity("stroke", color), width);
}

void SvgCanvas::polygon(std::span<const Point> corners, Color fill) {
    if (corners.size() < 3) return;
    body_ += fmt::format("<polygon points=\"{}\" fill=\"{}\"{}/>\n", listed(corners), hex(fill), opacity("fill", fill));
}

void SvgCanvas::ribbon(std::span<const Point> upper, std::span<const Point> lower, Color fill) {
    std::vector<Point> around(upper.begin(), upper.end());
    around.insert(around.end(), lower.rbegin(), lower.rend());
    polygon(around, fill);
}

void SvgCanvas::rectangle(Rect a, Color fill, float corner_radius) {
    body_ += fmt::format(
        "<rect x=\"{:.2f}\" y=\"{:.2f}\" width=\"{:.2f}\" height=\"{:.2f}\" rx=\"{:.2f}\" fill=\"{}\"{}/>\n", a.left,
        a.top, a.width(), a.height(), corner_radius, hex(fill), opacity("fill", fill));
}
void SvgCanvas::disc(Point centre, float radius, Color fill) {
    body_ += fmt::format("<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.2f}\" fill=\"{}\"{}/>\n", centre.x, centre.y,
                         radius, hex(fill), opacity("fill", fill));
}
void SvgCanvas::ring(Point centre, float radius, Color color, float width) {
    body_ += fmt::format(
        "<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.2f}\" fill=\"none\" stroke=\"{}\"{} stroke-width=\"{:.2f}\"/>\n",
        centre.x, centre.y, radius, hex(color), opacity("stroke", color), width);
}

Point SvgCanvas::extent(std::string_view text, float size, Weight weight) const {
    const float height = size > 0 ? size : ordinary_size_;
    std::size_t letters = 0;
    for (char c : text) letters += (static_cast<unsigned char>(c) & 0xC0) != 0x80 ? 1 : 0;
    // A usual sans-serif face is about 0.55 of its size wide on average (common practice, no source).
    return {static_cast<float>(letters) * height * (weight == Weight::strong ? 0.59F : 0.55F), height * 1.2F};
}

void SvgCanvas::text(Point at, std::string_view text, const TextStyle& style) {
    const float size = style.size > 0 ? style.size : ordinary_size_;
    const char* anchor = style.horizontal == Anchor::start    ? "start"
                         : style.horizontal == Anchor::middle ? "middle"
                                                              : "end";
    // SVG places the base line; the canvas places the box, whose height is 1.2 sizes with the base line at 0.95.
    const float lift = style.vertical == Anchor::start ? 0.95F : style.vertical == Anchor::middle ? 0.35F : -0.25F;
    body_ += fmt::format(
        "<text x=\"{:.2f}\" y=\"{:.2f}\" font-size=\"{:.2f}\"{} text-anchor=\"{}\" fill=\"{}\"{}>{}</text>\n", at.x,
        at.y + lift * size, size, style.weight == Weight::strong ? " font-weight=\"600\"" : "", anchor,
        hex(style.color), opacity("fill", style.color), escaped(text));
}

std::string SvgCanvas::svg(std::string_view attributes, std::string_view title) const {
    const std::string spoken = title.empty() ? std::string() : fmt::format("<title>{}</title>\n", escaped(title));
    return fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" {0} viewBox=\"0 0 {1:.0f} {2:.0f}\" role=\"img\" "
        "font-family=\"'Open Sans', 'DejaVu Sans', sans-serif\">\n"
        "{3}<rect width=\"100%\" height=\"100%\" fill=\"{4}\"/>\n{5}{6}</svg>\n",
        attributes, width_, height_, spoken, hex(ground_), body_, clipping_ ? "</g>\n" : "");
}

std::string SvgCanvas::file(std::string_view title) const {
    return "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n" +
           svg(fmt::format("width=\"{:.0f}\" height=\"{:.0f}\"", width_, height_), title);
}

std::string SvgCanvas::element(std::string_view title) const {
    return svg(fmt::format("width=\"100%\" style=\"max-width:{:.0f}px\"", width_), title);
}

}  // namespace coldtune::picture
