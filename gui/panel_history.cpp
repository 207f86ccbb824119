// The strip under the live reading: where the resonance was during the last minute.
#include <algorithm>
#include <array>
#include <cmath>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

// At least this much of the frequency is spread over the height: what does not move is to look still.
constexpr double kLeastSpan = 0.004;

Range span_of(const Following& f) {
    double low = 1e300, high = -1e300;
    for (const auto& p : f.history) {
        if (!p.frequency_hz) continue;
        low = std::min(low, *p.frequency_hz - p.u95_hz);
        high = std::max(high, *p.frequency_hz + p.u95_hz);
    }
    if (!(high > low)) return {0, 1};
    const double centre = (low + high) / 2, half = std::max((high - low) / 2 * 1.15, kLeastSpan / 2 * centre);
    return {centre - half, centre + half};
}

}  // namespace

void history_panel(const Ui& ui, Rect area) {
    const State& s = ui.s;
    if (!s.following || s.following->readings == 0) return;
    const Following& f = *s.following;
    ImguiCanvas canvas = canvas_here(ui);
    ui.mark("history", area);
    const Theme& t = ui.theme;
    const float row = canvas.extent("0", 0, Weight::regular).y;
    const Range y = span_of(f);
    const std::vector<Tick> marks = ticks(y, Scale::linear, 4);
    float label_width = 0;
    for (const Tick& mark : marks) label_width = std::max(label_width, canvas.extent(mark.label, 0, Weight::regular).x);
    const Rect pane{area.left + label_width + ui.px(12), area.top + ui.px(4), area.right - ui.px(8),
                    area.bottom - row - ui.px(6)};
    canvas.rectangle(pane, t.panel, ui.px(4));
    const auto x_of = [&](double at_s) {
        return pane.right - static_cast<float>((f.at_s - at_s) / kHistory_s) * pane.width();
    };
    const auto y_of = [&](double hz) {
        return pane.bottom - static_cast<float>(position_of(hz, y, Scale::linear)) * pane.height();
    };
    for (const Tick& mark : marks) {
        if (mark.label.empty()) continue;
        const float at = y_of(mark.value);
        if (at < pane.top || at > pane.bottom) continue;
        canvas.line({pane.left, at}, {pane.right, at}, t.rule, 1);
        canvas.text({pane.left - ui.px(6), at}, mark.label,
                    {t.soft_ink, 0, Weight::regular, Anchor::end, Anchor::middle});
    }
    for (const double ago_s : {60.0, 45.0, 30.0, 15.0, 0.0}) {
        const float at = x_of(f.at_s - ago_s);
        canvas.line({at, pane.bottom}, {at, pane.bottom + ui.px(4)}, t.soft_ink, 1);
        const std::string label = ago_s > 0
                                      ? std::to_string(static_cast<int>(ago_s)) + (s.live() ? " s ago" : " s before")
                                      : std::string(s.live() ? "now" : "the end");
        canvas.text({at, pane.bottom + ui.px(5)}, label,
                    {t.soft_ink, 0, Weight::regular,
                     ago_s == 0 ? Anchor::end : (ago_s == 60 ? Anchor::start : Anchor::middle), Anchor::start});
    }

    canvas.clip(pane);
    if (s.calculation.value) {
        const float at = y_of(s.calculation.value->frequency_hz);
        canvas.dashed_line({pane.left, at}, {pane.right, at}, t.calculated, ui.px(1.5F), ui.px(6), ui.px(4));
    }
    const Color color = t.run_color(static_cast<std::size_t>(s.live() ? s.next_run - 1 : std::max(0, s.next_run - 2)));
    std::vector<Point> upper, lower, line;
    const auto flush = [&] {
        if (line.size() > 1) {
            canvas.ribbon(upper, lower, color.with_alpha(60));
            canvas.polyline(line, color, ui.px(2.5F));
        } else if (line.size() == 1) {
            canvas.disc(line.front(), ui.px(2), color);
        }
        upper.clear();
        lower.clear();
        line.clear();
    };
    for (const auto& p : f.history) {
        if (!p.frequency_hz) {
            flush();  // a gap where there was none
            continue;
        }
        const float x = x_of(p.at_s);
        line.push_back({x, y_of(*p.frequency_hz)});
        upper.push_back({x, y_of(*p.frequency_hz + p.u95_hz)});
        lower.push_back({x, y_of(*p.frequency_hz - p.u95_hz)});
    }
    if (!line.empty()) canvas.disc(line.back(), ui.px(4), color);
    flush();
    canvas.unclip();
    canvas.frame(pane, t.rule, 1);
}

}  // namespace coldtune::gui
