#include "gui/tuning_axis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "gui/picture.hpp"

namespace coldtune::gui {
namespace {

class AxisDrawing {
public:
    AxisDrawing(Canvas& canvas, Rect area, const TuningAxis& axis, const Theme& theme, float scale)
        : canvas_(canvas), axis_(axis), theme_(theme), scale_(scale) {
        double low = 1e300, high = 0;
        for (const auto* m : {&axis.secondary, &axis.target, &axis.tank}) {
            low = std::min(low, m->frequency_hz - m->half_width_hz);
            high = std::max(high, m->frequency_hz + m->half_width_hz);
        }
        low = std::min(low, axis.target.frequency_hz * (1 - axis.tuned_window));
        high = std::max(high, axis.target.frequency_hz * (1 + axis.tuned_window));
        range_ = with_margin({low, high}, Scale::linear, 0.14);
        line_ = canvas.ordinary_size() * 1.4F;
        const float names = std::max(canvas.extent("secondary", 0, Weight::strong).x, px(60)) + px(14);
        pane_ = {area.left + names, area.top + line_ + px(6), area.right - px(10), area.bottom - 2 * line_ - px(4)};
    }

    void draw() {
        grid();
        window();
        const std::array<const char*, 3> names{"secondary", "target", "tank"};
        const std::array<const TuningAxis::Mark*, 3> marks{&axis_.secondary, &axis_.target, &axis_.tank};
        const std::array<Color, 3> colors{theme_.run_color(0), theme_.good, theme_.run_color(2)};
        for (std::size_t k = 0; k < 3; ++k) row(k, names[k], *marks[k], colors[k]);
        allowance();
    }

private:
    [[nodiscard]] float px(float ordinary) const { return ordinary * scale_; }
    [[nodiscard]] float x_of(double hz) const {
        return pane_.left + static_cast<float>(position_of(hz, range_, Scale::linear)) * pane_.width();
    }
    [[nodiscard]] float row_y(std::size_t k) const {
        return pane_.top + pane_.height() * (static_cast<float>(k) + 0.5F) / 3;
    }

    void grid() {
        const float wide = canvas_.extent("888.88k", 0, Weight::regular).x + px(26);
        const int most = std::clamp(static_cast<int>(pane_.width() / wide), 2, 9);
        for (const Tick& tick : ticks(range_, Scale::linear, most)) {
            const float x = x_of(tick.value);
            if (x < pane_.left || x > pane_.right || tick.label.empty()) continue;
            canvas_.line({x, pane_.top}, {x, pane_.bottom}, theme_.rule, 1);
            const float half = canvas_.extent(tick.label, 0, Weight::regular).x / 2;
            canvas_.text({std::clamp(x, pane_.left + half, pane_.right - half), pane_.bottom + px(4)}, tick.label,
                         {theme_.soft_ink, 0, Weight::regular, Anchor::middle, Anchor::start});
        }
        canvas_.line({pane_.left, pane_.bottom}, {pane_.right, pane_.bottom}, theme_.soft_ink, px(1));
        canvas_.text({pane_.centre().x, pane_.bottom + px(4) + line_}, "Frequency / Hz",
                     {theme_.soft_ink, 0, Weight::regular, Anchor::middle, Anchor::start});
    }

    // Where the tank is called tuned, named above.
    void window() {
        const float left = x_of(axis_.target.frequency_hz * (1 - axis_.tuned_window));
        const float right = x_of(axis_.target.frequency_hz * (1 + axis_.tuned_window));
        canvas_.rectangle({left, pane_.top, right, pane_.bottom}, theme_.good.with_alpha(40), 0);
        for (const float x : {left, right})
            canvas_.dashed_line({x, pane_.top}, {x, pane_.bottom}, theme_.good, px(1), px(4), px(3));
        const std::string name = fmt::format("tuned here, \u00b1{:.3g} %", 100 * axis_.tuned_window);
        const float half = canvas_.extent(name, 0, Weight::regular).x / 2;
        const float middle =
            std::clamp((left + right) / 2, pane_.left + half, std::max(pane_.left, pane_.right - half));
        canvas_.text({middle, pane_.top - px(3)}, name, {theme_.good, 0, Weight::regular, Anchor::middle, Anchor::end});
    }

    void row(std::size_t k, const char* name, const TuningAxis::Mark& mark, Color color) {
        const float y = row_y(k), x = x_of(mark.frequency_hz);
        canvas_.text({pane_.left - px(12), y}, name, {color, 0, Weight::strong, Anchor::end, Anchor::middle});
        // Never thinner than the eye can see, however well it is known.
        const float reach = std::max(x_of(mark.frequency_hz + mark.half_width_hz) - x, px(1.5F));
        const float tall = px(9);
        canvas_.rectangle({x - reach, y - tall, x + reach, y + tall}, color.with_alpha(110), 0);
        canvas_.line({x, y - tall}, {x, y + tall}, color, px(2.5F));
        canvas_.disc({x, y}, px(4.5F), color);
        // The figure stands where there is room, on a ground of its own.
        const Point size = canvas_.extent(mark.figure, 0, Weight::regular);
        const float off = reach + px(10);
        const bool right = x + off + size.x < pane_.right;
        const float at = right ? x + off : std::max(pane_.left, x - off - size.x);
        canvas_.rectangle({at - px(3), y - size.y / 2, at + size.x + px(3), y + size.y / 2},
                          theme_.panel.with_alpha(215), px(3));
        canvas_.text({at, y}, mark.figure, {theme_.ink, 0, Weight::regular, Anchor::start, Anchor::middle});
    }

    // From the secondary down to the target, between their two rows.
    void allowance() {
        const float from = x_of(axis_.secondary.frequency_hz), to = x_of(axis_.target.frequency_hz);
        const float y = (row_y(0) + row_y(1)) / 2;
        if (from - to < px(12)) return;
        canvas_.arrow({from, y}, {to, y}, theme_.soft_ink, px(1.2F), px(7));
        canvas_.line({from, row_y(0) + px(9)}, {from, y + px(3)}, theme_.soft_ink, px(1));
        const std::string name = fmt::format("allowance {:.3g} %", 100 * axis_.allowance);
        const Point size = canvas_.extent(name, 0, Weight::regular);
        // Before the arrow's head, behind its foot, or on it; nowhere else does it stand clear of the other figures.
        float left = to - px(8) - size.x;
        if (left < pane_.left) left = from + px(8);
        if (left + size.x > pane_.right) left = (from + to - size.x) / 2;
        if (left < pane_.left || left + size.x > pane_.right) return;
        canvas_.rectangle({left - px(3), y - size.y / 2, left + size.x + px(3), y + size.y / 2},
                          theme_.panel.with_alpha(235), px(3));
        canvas_.text({left, y}, name, {theme_.soft_ink, 0, Weight::regular, Anchor::start, Anchor::middle});
    }

    Canvas& canvas_;
    const TuningAxis& axis_;
    const Theme& theme_;
    float scale_;
    Rect pane_;
    Range range_;
    float line_ = 0;
};

}  // namespace

void draw_tuning_axis(Canvas& canvas, Rect area, const TuningAxis& axis, const Theme& theme, float scale) {
    AxisDrawing(canvas, area, axis, theme, scale).draw();
}

}  // namespace coldtune::gui
