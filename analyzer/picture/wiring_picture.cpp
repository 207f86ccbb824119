#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <vector>

#include "analyzer/picture/coil_pictures.hpp"

namespace coldtune::picture {
namespace {

using bench::Hookup;

constexpr float kBox = 0.29F;  // of the width, when the names in it are short
constexpr std::string_view kReturn = "ground, the plug's sleeve";

// Names of signals stand out: the step from the small text to the ordinary one.
constexpr float kStrong = 21.0F / 18.0F;

enum class Terminal { output, generator_input, coil_input, back };

class Wiring {
public:
    Wiring(Canvas& canvas, Rect area, const WiringNames& names, const Theme& theme, float scale,
           const WiringStands& stands)
        : canvas_(canvas), area_(area), names_(names), theme_(theme), scale_(scale), stands_(stands) {
        float widest = 0;
        for (std::string_view name : {std::string_view(names.output), std::string_view(names.generator_input),
                                      std::string_view(names.coil_input), kReturn}) {
            widest = std::max(widest, canvas.extent(name, 0, Weight::regular).x);
        }
        // A name that would leave no room for the circuit is cut off at the box.
        box_width_ = std::clamp(widest + px(34), kBox * area.width(), 0.45F * area.width());
    }

    void draw(Hookup hookup) {
        // At the pickup the second input runs above the rest, so that no wire crosses another.
        rows_ = hookup == Hookup::pickup
                    ? std::array{Terminal::coil_input, Terminal::output, Terminal::generator_input, Terminal::back}
                    : std::array{Terminal::output, Terminal::generator_input, Terminal::coil_input, Terminal::back};
        box();
        switch (hookup) {
            case Hookup::foot:
                generator_side(true);
                coil_with_head(stands_.topload);
                note({x(0.86F), y(stands_.topload ? 0.095F : 0.135F)}, "head free", Anchor::middle, Anchor::end);
                back_to(x(0.86F));
                ground();
                break;
            case Hookup::winding:
                generator_side(true);
                coil_with_head(false, true);
                wire({{x(0.86F), y(0.22F)}, {x(0.86F), y(0.15F)}, {x(0.965F), y(0.15F)}, {x(0.965F), row(3)}});
                note({x(0.985F), y(0.12F)}, "head on the return", Anchor::end, Anchor::end);
                back_to(x(0.965F));
                ground();
                break;
            case Hookup::pickup:
                generator_side(false);
                coil_with_head(stands_.topload);
                wire({{box_right(), row(0)}, {x(0.70F), row(0)}});
                canvas_.line({x(0.70F), row(0) - px(12)}, {x(0.70F), row(0) + px(12)}, theme_.copper, px(4));
                note({x(0.69F), row(0) - px(14)}, "short bare wire, touches nothing", Anchor::end, Anchor::end);
                back_to(x(0.86F));
                ground();
                break;
            case Hookup::tank:
                tank();
                break;
            case Hookup::open:
                generator_side(true);
                wire({{x(0.68F), row(0)}, {x(0.80F), row(0)}});
                clip({x(0.80F), row(0)});
                note({x(0.72F), row(0) + px(16)}, "lies where the foot is,");
                note({x(0.72F), row(0) + px(16) + line()}, "touching nothing");
                back_to(x(0.86F));
                ground();
                break;
            case Hookup::short_circuit:
                generator_side(true);
                wire({{x(0.68F), row(0)}, {x(0.86F), row(0)}, {x(0.86F), row(3)}});
                clip({x(0.86F), row(3) - px(22)}, true);
                // Under the wires of the inputs, so that none runs through it.
                note({x(0.86F) - px(12), (row(2) + row(3)) / 2}, "clip on the return", Anchor::end, Anchor::middle);
                back_to(x(0.86F));
                ground();
                break;
            case Hookup::load:
                generator_side(true);
                wire({{x(0.68F), row(0)}, {x(0.86F), row(0)}, {x(0.86F), y(0.36F)}});
                canvas_.frame({x(0.86F) - px(11), y(0.36F), x(0.86F) + px(11), y(0.66F)}, theme_.ink, px(2));
                wire({{x(0.86F), y(0.66F)}, {x(0.86F), row(3)}});
                note({x(0.86F) + px(18), y(0.48F)}, names_.load);
                note({x(0.985F), row(0) - px(8)}, "known resistor", Anchor::end, Anchor::end);
                back_to(x(0.86F));
                break;
            case Hookup::loopback:
                wire({{box_right(), row(0)}, {x(0.52F), row(0)}});
                for (int k : {1, 2}) {
                    wire({{box_right(), row(k)}, {x(0.52F), row(k)}, {x(0.52F), row(0)}});
                    canvas_.disc({x(0.52F), row(k)}, px(4), theme_.ink);
                }
                break;
        }
    }

private:
    [[nodiscard]] float px(float ordinary) const { return ordinary * scale_; }
    // Along the width: what lies right of the box (beyond kBox of it) moves over when the names in the box take more.
    [[nodiscard]] float x(float part) const {
        if (part <= kBox) return area_.left + part / kBox * box_width_;
        return area_.left + box_width_ + (part - kBox) / (1 - kBox) * (area_.width() - box_width_);
    }
    [[nodiscard]] float y(float part) const { return area_.top + part * area_.height(); }
    [[nodiscard]] float line() const { return canvas_.ordinary_size() * 1.3F; }
    [[nodiscard]] float box_right() const { return area_.left + box_width_; }
    [[nodiscard]] float row(int k) const {
        constexpr std::array<float, 4> kRows = {0.20F, 0.42F, 0.62F, 0.86F};
        return y(kRows[static_cast<std::size_t>(k)]);
    }
    [[nodiscard]] int row_of(Terminal t) const {
        return static_cast<int>(std::find(rows_.begin(), rows_.end(), t) - rows_.begin());
    }

    void wire(const std::vector<Point>& points) { canvas_.polyline(points, theme_.ink, px(2)); }
    void joint(Point p) { canvas_.disc(p, px(4.5F), theme_.ink); }
    void note(Point p, std::string_view text, Anchor h = Anchor::start, Anchor v = Anchor::start) {
        canvas_.text(p, text, {theme_.soft_ink, 0, Weight::regular, h, v});
    }

    [[nodiscard]] std::string shortened(std::string_view text, float width) const {
        std::string cut(text);
        while (cut.size() > 4 && canvas_.extent(cut, 0, Weight::regular).x > width) {
            // Whole characters of UTF-8 only.
            do {
                cut.pop_back();
            } while (cut.size() > 4 && (static_cast<unsigned char>(cut.back()) & 0xC0) == 0x80);
        }
        return cut.size() < text.size() ? cut + "\u2026" : cut;
    }

    // The terminals, the signal's role above the channel's own name.
    void box() {
        const Rect body{x(0.0F), y(0.06F), box_right(), y(0.97F)};
        canvas_.rectangle(body, theme_.raised, px(8));
        for (int k = 0; k < 4; ++k) {
            const Terminal t = rows_[static_cast<std::size_t>(k)];
            std::string_view role, name;
            switch (t) {
                case Terminal::output:
                    role = "generator", name = names_.output;
                    break;
                case Terminal::generator_input:
                    role = "generator side", name = names_.generator_input;
                    break;
                case Terminal::coil_input:
                    role = "coil side", name = names_.coil_input;
                    break;
                case Terminal::back:
                    role = "return", name = "ground, the plug's sleeve";
                    break;
            }
            const float middle = row(k);
            canvas_.text({body.left + px(14), middle - px(1)}, role,
                         {theme_.ink, canvas_.ordinary_size() * kStrong, Weight::strong, Anchor::start, Anchor::end});
            note({body.left + px(14), middle + px(1)}, shortened(name, body.width() - px(28)));
            canvas_.disc({body.right, middle}, px(7), theme_.panel);
            canvas_.ring({body.right, middle}, px(7), theme_.ink, px(2));
        }
    }

    // Output through the reference resistor; input on its generator side and, if asked for, on its coil side.
    void generator_side(bool coil_input) {
        const float top = row(row_of(Terminal::output)), first = row(row_of(Terminal::generator_input));
        wire({{box_right() + px(7), top}, {x(0.46F), top}});
        canvas_.frame({x(0.46F), top - px(11), x(0.60F), top + px(11)}, theme_.ink, px(2));
        canvas_.text({x(0.53F), top - px(16)}, names_.reference,
                     {theme_.ink, canvas_.ordinary_size() * kStrong, Weight::strong, Anchor::middle, Anchor::end});
        wire({{x(0.60F), top}, {x(0.68F), top}});
        wire({{box_right() + px(7), first}, {x(0.39F), first}, {x(0.39F), top}});
        joint({x(0.39F), top});
        if (!coil_input) return;
        const float second = row(row_of(Terminal::coil_input));
        wire({{box_right() + px(7), second}, {x(0.66F), second}, {x(0.66F), top}});
        joint({x(0.66F), top});
    }

    // The secondary, foot down, reached from the resistor.
    void coil_with_head(bool topload, bool tied = false) {
        const float top = row(row_of(Terminal::output)), middle = x(0.86F);
        // As wide as there is room beside the wire to the foot.
        const float room = middle - x(0.75F), half = std::min(px(26), room * 0.5F);
        const Rect body{middle - half, y(0.22F), middle + half, y(0.70F)};
        wire({{x(0.68F), top}, {x(0.75F), top}, {x(0.75F), y(0.76F)}, {middle, y(0.76F)}, {middle, body.bottom}});
        canvas_.rectangle(body, theme_.copper.with_alpha(40), 0);
        const int turns = std::max(6, static_cast<int>(body.height() / px(7)));
        for (int k = 0; k <= turns; ++k) {
            const float at = body.top + body.height() * static_cast<float>(k) / static_cast<float>(turns);
            canvas_.line({body.left, at}, {body.right, at}, theme_.copper, px(1.5F));
        }
        note({middle + px(9), (body.bottom + y(0.76F)) / 2}, "foot", Anchor::start, Anchor::middle);
        primary_beside(body.right, tied ? x(0.965F) - px(4) : x(0.985F));
        if (!topload && !tied) canvas_.line({middle, body.top}, {middle, y(0.16F)}, theme_.ink, px(2));
        if (topload) {
            canvas_.line({middle, body.top}, {middle, y(0.16F)}, theme_.ink, px(2));
            const float r = px(11), reach = std::min(px(46), room * 0.8F);
            canvas_.rectangle({middle - reach, y(0.16F) - r, middle + reach, y(0.16F) + r},
                              theme_.metal.with_alpha(110), r);
        }
    }

    // The other circuit between the secondary and `right`, tied to nothing: with its capacitor, or its ends clipped
    // together. Where there is no room for it, it is left out.
    void primary_beside(float secondary_right, float right) {
        if (stands_.primary == WiringStands::Primary::not_shown || right - secondary_right < px(34)) return;
        const float left = secondary_right + (right - secondary_right) * 0.45F, far = right - px(10);
        const float half = std::min(px(13), (left - secondary_right) * 0.6F);
        const float top = y(0.36F), upper = y(0.45F), lower = y(0.63F), bottom = y(0.69F);
        for (int k = 0; k <= 4; ++k) {
            const float at = upper + (lower - upper) * static_cast<float>(k) / 4.0F;
            canvas_.line({left - half, at}, {left + half, at}, theme_.copper, px(3));
        }
        wire({{left, lower}, {left, bottom}, {far, bottom}});
        wire({{left, upper}, {left, top}});
        // What closes the circuit is the clip lead: over the gap, or from end to end.
        const std::array<Point, 2> lead{Point{left, top}, Point{far, top}};
        canvas_.polyline(lead, theme_.accent, px(3));
        if (stands_.primary == WiringStands::Primary::shorted) {
            wire({{far, top}, {far, bottom}});
            return;
        }
        const float middle = (top + bottom) / 2, plate = std::min(px(10), (far - left) * 0.4F);
        wire({{far, top}, {far, middle - px(4)}});
        wire({{far, middle + px(4)}, {far, bottom}});
        for (float at : {middle - px(4), middle + px(4)}) {
            canvas_.line({far - plate, at}, {far + plate, at}, theme_.ink, px(3));
        }
    }

    void back_to(float to_x) { wire({{box_right() + px(7), row(3)}, {to_x, row(3)}}); }

    void ground() {
        const float at = row(3), from = x(0.76F), to = x(0.985F);
        canvas_.line({from, at}, {to, at}, theme_.metal, px(3));
        for (float p = from + px(6); p < to; p += px(12)) {
            canvas_.line({p, at + px(2)}, {p - px(6), at + px(9)}, theme_.metal, px(1));
        }
        note({from - px(8), at + px(6)}, "ground under the coil", Anchor::end);
    }

    // A crocodile clip as two jaws.
    void clip(Point p, bool down = false) {
        const float s = px(20);
        if (down) {
            canvas_.line(p, {p.x - px(6), p.y + s}, theme_.accent, px(3));
            canvas_.line(p, {p.x + px(6), p.y + s}, theme_.accent, px(3));
        } else {
            canvas_.line(p, {p.x + s, p.y - px(7)}, theme_.accent, px(3));
            canvas_.line(p, {p.x + s, p.y + px(7)}, theme_.accent, px(3));
        }
    }

    void tank() {
        generator_side(true);
        const float left = x(0.77F), right = x(0.93F), top = row(0), bottom = row(3);
        wire({{x(0.68F), top}, {left, top}, {left, y(0.34F)}});
        // Primary.
        const Rect body{left - px(22), y(0.34F), left + px(22), y(0.70F)};
        for (int k = 0; k <= 7; ++k) {
            const float at = body.top + body.height() * static_cast<float>(k) / 7.0F;
            canvas_.line({body.left, at}, {body.right, at}, theme_.copper, px(4));
        }
        wire({{left, body.bottom}, {left, bottom}});
        // The gap in the wire to the capacitor, bridged.
        const float g = px(16), middle = (left + right) / 2;
        wire({{left, top}, {middle - g, top}});
        wire({{middle + g, top}, {right, top}, {right, y(0.50F)}});
        joint({left, top});
        for (float end : {middle - g, middle + g}) canvas_.disc({end, top}, px(6), theme_.metal);
        const std::array<Point, 4> bridge{Point{middle - g, top - px(4)}, Point{middle - g * 0.6F, top - px(24)},
                                          Point{middle + g * 0.6F, top - px(24)}, Point{middle + g, top - px(4)}};
        canvas_.polyline(bridge, theme_.accent, px(3));
        note({x(0.985F), top - px(28)}, "gap bridged by the clip lead", Anchor::end, Anchor::end);
        // Capacitor.
        canvas_.line({right - px(20), y(0.50F)}, {right + px(20), y(0.50F)}, theme_.ink, px(4));
        canvas_.line({right - px(20), y(0.55F)}, {right + px(20), y(0.55F)}, theme_.ink, px(4));
        wire({{right, y(0.55F)}, {right, bottom}});
        note({left + px(28), y(0.62F)}, "primary");
        note({x(0.985F), bottom + px(6)}, "tank capacitor, no supply", Anchor::end);
        back_to(right);
        joint({left, bottom});
    }

    Canvas& canvas_;
    Rect area_;
    const WiringNames& names_;
    const Theme& theme_;
    float scale_;
    WiringStands stands_;
    std::array<Terminal, 4> rows_{};
    float box_width_ = 0;
};

}  // namespace

Rect wiring_area(Rect area) {
    constexpr float kWidest = 2.1F, kTallest = 0.66F;  // against the other side
    const float width = std::min(area.width(), area.height() * kWidest);
    const float height = std::min(area.height(), width * kTallest);
    const Point middle = area.centre();
    return {middle.x - width / 2, middle.y - height / 2, middle.x + width / 2, middle.y + height / 2};
}

void draw_wiring(Canvas& canvas, Rect area, Hookup hookup, const WiringNames& names, const Theme& theme, float scale,
                 const WiringStands& stands) {
    Wiring(canvas, area, names, theme, scale, stands).draw(hookup);
}

}  // namespace coldtune::picture
