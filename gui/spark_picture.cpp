#include "gui/spark_picture.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "analyzer/record/quantity.hpp"
#include "gui/picture.hpp"

namespace coldtune::gui {
namespace {

using record::Unit;

// What lies beyond is too little to be seen.
constexpr double kShownShare = 0.02;

class SparkDrawing {
public:
    SparkDrawing(Canvas& canvas, Rect area, const measure::SparkFigures& f, const Theme& theme, float scale)
        : canvas_(canvas), figures_(f), theme_(theme), scale_(scale) {
        line_ = canvas.ordinary_size() * 1.4F;
        double end_s = 0, top = 1;
        const model::Envelopes& e = f.exchange.envelopes;
        for (std::size_t k = 0; k < e.time_s.size(); ++k) {
            const double most = std::max(e.primary_voltage[k], e.secondary_voltage[k]);
            if (most > kShownShare) end_s = e.time_s[k];
            top = std::max(top, most);
        }
        // The notches are what is looked at: a long tail of many more is cut.
        const auto& exchanges = f.exchange.exchanges;
        if (!exchanges.empty()) end_s = std::min(end_s, 1.1 * exchanges.back().time_s);
        x_ = {0, std::max(end_s, 1e-9)};
        y_ = {0, top * 1.3};
        const float marks = canvas.extent("100 %", 0, Weight::regular).x + px(12);
        pane_ = {area.left + marks, area.top + 2 * line_ + px(4), area.right - px(10), area.bottom - 2 * line_ - px(4)};
        legend_y_ = area.top + line_ / 2;
    }

    void draw() {
        grid();
        canvas_.clip(pane_);
        exchanges();
        envelope(figures_.exchange.envelopes.primary_voltage, tank());
        envelope(figures_.exchange.envelopes.secondary_voltage, secondary());
        canvas_.unclip();
        limit();
        legend();
        first_transfer();
    }

private:
    [[nodiscard]] float px(float ordinary) const { return ordinary * scale_; }
    [[nodiscard]] Color tank() const { return theme_.run_color(2); }
    [[nodiscard]] Color secondary() const { return theme_.run_color(0); }
    [[nodiscard]] float x_of(double s) const {
        return pane_.left + static_cast<float>(position_of(s, x_, Scale::linear)) * pane_.width();
    }
    [[nodiscard]] float y_of(double v) const {
        return pane_.bottom - static_cast<float>(position_of(v, y_, Scale::linear)) * pane_.height();
    }

    void grid() {
        canvas_.rectangle(pane_, theme_.panel, px(2));
        const float wide = canvas_.extent("888.8\u00b5", 0, Weight::regular).x + px(22);
        const int most = std::clamp(static_cast<int>(pane_.width() / wide), 2, 12);
        for (const Tick& tick : ticks(x_, Scale::linear, most)) {
            const float x = x_of(tick.value);
            if (tick.label.empty() || x > pane_.right + 1) continue;
            canvas_.line({x, pane_.top}, {x, pane_.bottom}, theme_.rule, 1);
            const float half = canvas_.extent(tick.label, 0, Weight::regular).x / 2;
            canvas_.text({std::min(x, pane_.right - half), pane_.bottom + px(4)}, tick.label,
                         {theme_.soft_ink, 0, Weight::regular, Anchor::middle, Anchor::start});
        }
        canvas_.text({pane_.centre().x, pane_.bottom + px(4) + line_}, "Time after the gap closes / s",
                     {theme_.soft_ink, 0, Weight::regular, Anchor::middle, Anchor::start});
        const double step = pane_.height() / line_ > 9 ? 0.2 : 0.5;
        for (double v = 0; v < 1.001; v += step) {
            canvas_.line({pane_.left, y_of(v)}, {pane_.right, y_of(v)}, theme_.rule, 1);
            canvas_.text({pane_.left - px(6), y_of(v)}, fmt::format("{:.0f} %", 100 * v),
                         {theme_.soft_ink, 0, Weight::regular, Anchor::end, Anchor::middle});
        }
    }

    void envelope(const std::vector<double>& voltage, Color color) {
        const auto& t = figures_.exchange.envelopes.time_s;
        std::vector<Point> line, floor;
        for (std::size_t k = 0; k < t.size(); ++k) {
            line.push_back({x_of(t[k]), y_of(voltage[k])});
            floor.push_back({x_of(t[k]), y_of(0)});
        }
        canvas_.ribbon(line, floor, color.with_alpha(30));
        canvas_.polyline(line, color, px(2.2F));
    }

    // Each notch of the tank, and what is left in either where there is room to write it.
    void exchanges() {
        float free_from = pane_.left;
        for (const model::Exchange& e : figures_.exchange.exchanges) {
            const float x = x_of(e.time_s);
            canvas_.dashed_line({x, pane_.top}, {x, pane_.bottom},
                                (e.to_secondary ? secondary() : tank()).with_alpha(130), px(1), px(3), px(3));
            const double share = e.to_secondary ? e.secondary_share : e.primary_share;
            const std::string words = fmt::format("{:.0f} %", 100 * share);
            const float half = canvas_.extent(words, 0, Weight::strong).x / 2;
            if (x - half - px(4) < free_from || x + half > pane_.right) continue;
            canvas_.text({x, pane_.top + px(3)}, words,
                         {e.to_secondary ? secondary() : tank(), 0, Weight::strong, Anchor::middle, Anchor::start});
            free_from = x + half;
        }
    }

    void limit() {
        const float y = y_of(1);
        canvas_.dashed_line({pane_.left, y}, {pane_.right, y}, theme_.ink, px(1.3F), px(7), px(5));
        const std::string words = figures_.limit_by_capacitance
                                      ? fmt::format("limit without loss: {:.3g} V at the head per volt on the tank",
                                                    *figures_.limit_by_capacitance)
                                      : std::string("limit without loss: sqrt(C1/C2)");
        const float wide = canvas_.extent(words, 0, Weight::regular).x;
        if (wide > pane_.width()) return;
        // Below the line, on the right, where the envelopes have fallen.
        canvas_.rectangle({pane_.right - wide - px(6), y + px(2), pane_.right, y + px(3) + line_},
                          theme_.panel.with_alpha(215), px(2));
        canvas_.text({pane_.right - px(3), y + px(4)}, words,
                     {theme_.ink, 0, Weight::regular, Anchor::end, Anchor::start});
    }

    void legend() {
        float x = pane_.left;
        for (const auto& [color, words] :
             {std::pair{tank(), "tank voltage"}, std::pair{secondary(), "head voltage, of its limit"}}) {
            canvas_.line({x, legend_y_}, {x + px(20), legend_y_}, color, px(3));
            canvas_.text({x + px(26), legend_y_}, words,
                         {theme_.ink, 0, Weight::regular, Anchor::start, Anchor::middle});
            x += px(26) + canvas_.extent(words, 0, Weight::regular).x + px(24);
        }
        const char* numbers = "numbers: energy left";
        const float wide = canvas_.extent(numbers, 0, Weight::regular).x;
        if (x + wide > pane_.right) return;
        canvas_.text({x, legend_y_}, numbers, {theme_.soft_ink, 0, Weight::regular, Anchor::start, Anchor::middle});
    }

    void first_transfer() {
        const model::Exchange* first = figures_.exchange.first_transfer();
        if (first == nullptr) return;
        const float x = x_of(first->time_s);
        canvas_.line({x, pane_.top}, {x, pane_.bottom}, secondary(), px(1.6F));
        const std::string words =
            fmt::format("first transfer {}, {:.1f} cycles",
                        record::format_quantity(first->time_s, Unit::second, 3, true), first->cycles);
        const float wide = canvas_.extent(words, 0, Weight::strong).x;
        const float at = std::clamp(x - wide / 2, pane_.left, std::max(pane_.left, pane_.right - wide));
        canvas_.text({at, pane_.top - px(3)}, words, {secondary(), 0, Weight::strong, Anchor::start, Anchor::end});
    }

    Canvas& canvas_;
    const measure::SparkFigures& figures_;
    const Theme& theme_;
    float scale_;
    Rect pane_;
    Range x_, y_;
    float line_ = 0, legend_y_ = 0;
};

}  // namespace

void draw_spark_exchange(Canvas& canvas, Rect area, const measure::SparkFigures& figures, const Theme& theme,
                         float scale) {
    SparkDrawing(canvas, area, figures, theme, scale).draw();
}

}  // namespace coldtune::gui
