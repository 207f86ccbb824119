#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analyzer/picture/coil_pictures.hpp"

namespace coldtune::picture {
namespace {

// Everything that takes room, metres: half width and height above ground.
struct Extent {
    double half_width = 0, bottom = 0, top = 0;
    void take(double radius, double low, double high) {
        half_width = std::max(half_width, radius);
        bottom = std::min(bottom, low);
        top = std::max(top, high);
    }
};

Extent extent_of(const model::CoilDescription& coil) {
    Extent e;
    const model::Winding& w = coil.secondary;
    const double end = w.base_height_m + w.length_m;
    e.bottom = std::min(0.0, w.base_height_m);
    e.take(w.diameter_m / 2, w.base_height_m, end);
    for (const model::TopLoadBody& body : coil.topload) {
        if (const auto* t = std::get_if<model::Toroid>(&body)) {
            e.take(t->outer_diameter_m / 2, end, end + t->height_m + t->tube_diameter_m / 2);
        } else if (const auto* s = std::get_if<model::Sphere>(&body)) {
            e.take(s->diameter_m / 2, end, end + s->height_m + s->diameter_m / 2);
        } else if (const auto* d = std::get_if<model::Disc>(&body)) {
            e.take(d->diameter_m / 2, end, end + d->height_m);
        }
    }
    if (coil.primary) {
        const model::Primary& p = *coil.primary;
        const double angle = p.angle_deg * std::numbers::pi / 180, run = p.turns * p.pitch_m;
        e.take(p.inner_diameter_m / 2 + run * std::cos(angle) + p.conductor_diameter_m, p.base_height_m,
               p.base_height_m + run * std::sin(angle));
    }
    if (coil.surroundings.strike_ring) {
        const auto& r = *coil.surroundings.strike_ring;
        e.take((r.diameter_m + r.tube_diameter_m) / 2, 0, r.height_m);
    }
    return e;
}

std::string length(double metres) {
    return metres < 1 ? fmt::format("{:.4g} mm", metres * 1e3) : fmt::format("{:.4g} m", metres);
}

class Section {
public:
    Section(Canvas& canvas, Rect area, const model::CoilDescription& coil, const Theme& theme, float scale)
        : canvas_(canvas), coil_(coil), theme_(theme), scale_(scale), area_(area) {
        const Extent e = extent_of(coil);
        const float text = canvas.extent("888 mm", 0, Weight::regular).x;
        const float line = canvas.ordinary_size() * 1.5F;
        const float side = text + px(34);
        const Rect inside{area.left + side, area.top + line + px(10), area.right - side, area.bottom - line - px(14)};
        const double by_width = static_cast<double>(inside.width()) / std::max(2 * e.half_width, 1e-3);
        const double by_height = static_cast<double>(inside.height()) / std::max(e.top - e.bottom, 1e-3);
        per_metre_ = std::min(by_width, by_height);
        axis_ = inside.centre().x;
        const double used = (e.top - e.bottom) * per_metre_;
        // Stands on the lower edge, in the middle when it is not as tall as the room.
        ground_ = inside.bottom + static_cast<float>(e.bottom * per_metre_) -
                  (inside.height() - static_cast<float>(used)) * 0.35F;
        half_width_ = static_cast<float>(e.half_width * per_metre_);
    }

    void draw() {
        if (coil_.surroundings.ground) ground();
        if (coil_.primary) primary(*coil_.primary);
        if (coil_.surroundings.strike_ring) strike_ring(*coil_.surroundings.strike_ring);
        winding();
        for (const model::TopLoadBody& body : coil_.topload) topload(body);
        dimensions();
    }

private:
    [[nodiscard]] float px(float ordinary) const { return ordinary * scale_; }
    [[nodiscard]] Point at(double radius, double z) const {
        return {axis_ + static_cast<float>(radius * per_metre_), ground_ - static_cast<float>(z * per_metre_)};
    }
    [[nodiscard]] float size(double metres) const { return static_cast<float>(metres * per_metre_); }
    [[nodiscard]] double winding_end() const { return coil_.secondary.base_height_m + coil_.secondary.length_m; }

    void ground() {
        const float reach = std::min(half_width_ + px(90), area_.width() / 2 - px(6));
        const Point left{axis_ - reach, ground_}, right{axis_ + reach, ground_};
        canvas_.line(left, right, theme_.metal, px(2));
        for (float x = left.x + px(4); x < right.x; x += px(12)) {
            canvas_.line({x, ground_ + px(1)}, {x - px(6), ground_ + px(8)}, theme_.metal.with_alpha(150), px(1));
        }
    }

    void winding() {
        const model::Winding& w = coil_.secondary;
        const double radius = w.diameter_m / 2;
        const Point top_left = at(-radius, winding_end()), bottom_right = at(radius, w.base_height_m);
        const Rect body{top_left.x, top_left.y, bottom_right.x, bottom_right.y};
        canvas_.rectangle(body, theme_.copper.with_alpha(46), 0);
        // As many turns as the eye can tell apart, evenly over the length.
        const int lines =
            static_cast<int>(std::clamp(std::min(w.turns, static_cast<double>(body.height() / px(4))), 2.0, 400.0));
        for (int k = 0; k < lines; ++k) {
            const float y = body.top + body.height() * (static_cast<float>(k) + 0.5F) / static_cast<float>(lines);
            canvas_.line({body.left, y}, {body.right, y}, theme_.copper.with_alpha(110), px(1));
        }
        const float wire = std::max(px(3), size(w.wire_diameter_m));
        canvas_.line({body.left, body.top}, {body.left, body.bottom}, theme_.copper, wire);
        canvas_.line({body.right, body.top}, {body.right, body.bottom}, theme_.copper, wire);
    }

    void topload(const model::TopLoadBody& body) {
        const double end = winding_end();
        const Color fill = theme_.metal.with_alpha(90);
        if (const auto* t = std::get_if<model::Toroid>(&body)) {
            const double ring = (t->outer_diameter_m - t->tube_diameter_m) / 2, z = end + t->height_m;
            const float r = size(t->tube_diameter_m / 2);
            const Point left = at(-ring, z), right = at(ring, z);
            canvas_.rectangle({left.x, left.y - r, right.x, right.y + r}, theme_.metal.with_alpha(36), 0);
            canvas_.line({left.x, left.y - r}, {right.x, right.y - r}, theme_.metal, px(1.5F));
            canvas_.line({left.x, left.y + r}, {right.x, right.y + r}, theme_.metal, px(1.5F));
            for (const Point& p : {left, right}) {
                canvas_.disc(p, r, theme_.panel);
                canvas_.disc(p, r, fill);
                canvas_.ring(p, r, theme_.metal, px(2));
            }
            canvas_.line(at(0, end), at(0, z), theme_.metal, px(1.5F));
        } else if (const auto* s = std::get_if<model::Sphere>(&body)) {
            const Point p = at(0, end + s->height_m);
            canvas_.disc(p, size(s->diameter_m / 2), fill);
            canvas_.ring(p, size(s->diameter_m / 2), theme_.metal, px(2));
            canvas_.line(at(0, end), p, theme_.metal, px(1.5F));
        } else if (const auto* d = std::get_if<model::Disc>(&body)) {
            const double z = end + d->height_m;
            canvas_.line(at(-d->diameter_m / 2, z), at(d->diameter_m / 2, z), theme_.metal, px(4));
            canvas_.line(at(0, end), at(0, z), theme_.metal, px(1.5F));
        }
    }

    void primary(const model::Primary& p) {
        const double angle = p.angle_deg * std::numbers::pi / 180;
        const float r = std::max(px(2), size(p.conductor_diameter_m / 2));
        const int turns = static_cast<int>(std::min(std::ceil(p.turns), 60.0));
        for (int k = 0; k < turns; ++k) {
            const double radius = p.inner_diameter_m / 2 + k * p.pitch_m * std::cos(angle);
            const double z = p.base_height_m + k * p.pitch_m * std::sin(angle);
            for (double side : {-1.0, 1.0}) {
                canvas_.disc(at(side * radius, z), r, theme_.copper);
                canvas_.ring(at(side * radius, z), r, theme_.ink.with_alpha(120), px(1));
            }
        }
    }

    void strike_ring(const model::Surroundings::StrikeRing& ring) {
        for (double side : {-1.0, 1.0}) {
            canvas_.disc(at(side * ring.diameter_m / 2, ring.height_m), std::max(px(3), size(ring.tube_diameter_m / 2)),
                         theme_.metal);
        }
    }

    void across(double radius, float y, const std::string& text, bool above) {
        const Point left{at(-radius, 0).x, y}, right{at(radius, 0).x, y};
        canvas_.line(left, right, theme_.soft_ink, px(1));
        for (const Point& p : {left, right})
            canvas_.line({p.x, p.y - px(5)}, {p.x, p.y + px(5)}, theme_.soft_ink, px(1));
        canvas_.text({axis_, y + (above ? -px(4) : px(4))}, text,
                     {theme_.ink, 0, Weight::regular, Anchor::middle, above ? Anchor::end : Anchor::start});
    }

    void upright(float x, double low, double high, const std::string& text, bool left) {
        const Point a{x, at(0, high).y}, b{x, at(0, low).y};
        canvas_.line(a, b, theme_.soft_ink, px(1));
        for (const Point& p : {a, b}) canvas_.line({p.x - px(5), p.y}, {p.x + px(5), p.y}, theme_.soft_ink, px(1));
        canvas_.text({x + (left ? -px(9) : px(9)), (a.y + b.y) / 2}, text,
                     {theme_.ink, 0, Weight::regular, left ? Anchor::end : Anchor::start, Anchor::middle});
    }

    void dimensions() {
        const model::Winding& w = coil_.secondary;
        const float left = at(-w.diameter_m / 2, 0).x - px(16);
        upright(left, w.base_height_m, winding_end(), length(w.length_m), true);
        const float line = canvas_.ordinary_size() * 1.35F;
        const std::string across_text = fmt::format("{}, {:.6g} turns", length(w.diameter_m), w.turns);
        // Beneath the foot when there is room between it and the ground, else below the ground.
        const bool room = size(w.base_height_m) > line + px(16) && !coil_.primary;
        across(w.diameter_m / 2, room ? at(0, w.base_height_m).y + px(9) : ground_ + px(14), across_text, false);
        if (coil_.surroundings.ground && size(w.base_height_m) > line && !coil_.primary) {
            const float half = canvas_.extent(across_text, 0, Weight::regular).x / 2;
            const float right = axis_ + std::max(size(w.diameter_m / 2), half) + px(18);
            upright(right, 0, w.base_height_m, length(w.base_height_m), false);
        }
        double widest = 0, top = 0;
        for (const model::TopLoadBody& body : coil_.topload) {
            if (const auto* t = std::get_if<model::Toroid>(&body)) {
                widest = std::max(widest, t->outer_diameter_m);
                top = std::max(top, t->height_m + t->tube_diameter_m / 2);
            } else if (const auto* s = std::get_if<model::Sphere>(&body)) {
                widest = std::max(widest, s->diameter_m);
                top = std::max(top, s->height_m + s->diameter_m / 2);
            } else if (const auto* d = std::get_if<model::Disc>(&body)) {
                widest = std::max(widest, d->diameter_m);
                top = std::max(top, d->height_m);
            }
        }
        if (widest > 0) across(widest / 2, at(0, winding_end() + top).y - px(11), length(widest), true);
    }

    Canvas& canvas_;
    const model::CoilDescription& coil_;
    const Theme& theme_;
    float scale_;
    Rect area_;
    double per_metre_ = 1;
    float axis_ = 0, ground_ = 0, half_width_ = 0;
};

}  // namespace

void draw_cross_section(Canvas& canvas, Rect area, const model::CoilDescription& coil, const Theme& theme,
                        float scale) {
    Section(canvas, area, coil, theme, scale).draw();
}

}  // namespace coldtune::picture
