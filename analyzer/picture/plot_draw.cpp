#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "analyzer/picture/plot_scene.hpp"

namespace coldtune::picture {
namespace {

// Heights, in ordinary pixels: under this both panes would be too low to read, one pane would, nothing is drawn.
constexpr float kLeastTwoPanes = 170, kLeastPane = 70, kLeastDrawn = 24;

struct Pen {
    Canvas& canvas;
    const PlotInk& ink;
    [[nodiscard]] float px(float ordinary) const { return ordinary * ink.scale; }
    [[nodiscard]] float small() const { return canvas.ordinary_size(); }
    [[nodiscard]] Point extent(std::string_view text) const { return canvas.extent(text, small(), Weight::regular); }
    void label(Point at, std::string_view text, Color color, Anchor h, Anchor v) const {
        canvas.text(at, text, {color, small(), Weight::regular, h, v});
    }
};

// Dashes of a pattern; nothing for a solid line.
struct Dashes {
    float dash = 0, gap = 0;
};
Dashes dashes_of(Pattern pattern) {
    switch (pattern) {
        case Pattern::solid:
            break;
        case Pattern::dashed:
            return {10, 4};
        case Pattern::long_dashed:
            return {24, 5};
    }
    return {};
}

void draw_dot(const Pen& pen, Point at, Pattern pattern, Color color) {
    const float r = pen.px(2.3F);
    switch (pattern) {
        case Pattern::solid:
            return pen.canvas.disc(at, r, color);
        case Pattern::dashed:
            return pen.canvas.ring(at, r, color, pen.px(1.3F));
        case Pattern::long_dashed:
            return pen.canvas.rectangle({at.x - r, at.y - r, at.x + r, at.y + r}, color, 0);
    }
}

void draw_line(const Pen& pen, std::span<const Point> points, Pattern pattern, Color color, float width) {
    const Dashes d = dashes_of(pattern);
    if (d.dash > 0) {
        pen.canvas.dashed_polyline(points, color, width, pen.px(d.dash), pen.px(d.gap));
    } else {
        pen.canvas.polyline(points, color, width);
    }
}

void draw_fitted(const Pen& pen, std::span<const Point> points, Color color) {
    pen.canvas.dashed_polyline(points, color, pen.px(2.4F), pen.px(2.4F), pen.px(3.6F));
}

void draw_swatch(const Pen& pen, const LegendEntry& entry, Point from, Point to, Color color) {
    const std::array<Point, 2> ends{from, to};
    switch (entry.look) {
        case CurveLook::measured:
            pen.canvas.rectangle({from.x, from.y - pen.px(5), to.x, from.y + pen.px(5)}, color.with_alpha(50), 0);
            if (entry.pattern == Pattern::solid) {
                for (float t : {0.2F, 0.5F, 0.8F}) {
                    draw_dot(pen, {from.x + t * (to.x - from.x), from.y}, entry.pattern, color);
                }
            } else {
                draw_line(pen, ends, entry.pattern, color, pen.px(2));
            }
            break;
        case CurveLook::fitted:
            draw_fitted(pen, ends, color);
            break;
        case CurveLook::calculated:
            pen.canvas.dashed_line(from, to, color, pen.px(2), pen.px(6), pen.px(4));
            break;
        case CurveLook::line:
            pen.canvas.line(from, to, color, pen.px(2));
            break;
    }
}

// The legend in rows, at most `most_rows` of them; where it does not fit what is hidden goes last, and how many are
// left out is said.
class Legend {
public:
    Legend(const Pen& pen, Rect area, const PlotScene& scene, int most_rows) : pen_(pen), area_(area) {
        row_ = pen.extent("Xg").y + pen.px(6);
        for (const LegendEntry& entry : scene.legend) entries_.push_back(&entry);
        place(entries_.size(), 0);
        if (rows_ <= most_rows) return;
        std::stable_partition(entries_.begin(), entries_.end(), [](const LegendEntry* e) { return !e->hidden; });
        for (std::size_t count = entries_.size(); count-- > 0;) {
            left_out_ = entries_.size() - count;
            place(count, pen.extent(more()).x);
            if (rows_ <= most_rows) return;
        }
    }
    [[nodiscard]] float height() const { return row_ * static_cast<float>(rows_); }
    void draw(PlotLayout& layout) const {
        for (std::size_t k = 0; k < places_.size(); ++k) {
            const LegendEntry& entry = *entries_[k];
            const Rect& at = places_[k];
            const Theme& t = pen_.ink.theme;
            const Color color = entry.hidden ? t.soft_ink.with_alpha(120) : entry.color;
            const float middle = at.top + row_ / 2;
            draw_swatch(pen_, entry, {at.left, middle}, {at.left + swatch(), middle}, color);
            pen_.label({at.left + swatch() + gap(), middle}, entry.label, entry.hidden ? color : t.ink, Anchor::start,
                       Anchor::middle);
            if (entry.run) layout.legend_runs.emplace_back(at, *entry.run);
        }
        layout.legend_left_out = left_out_;
        if (left_out_ == 0) return;
        pen_.label({end_.x, end_.y + row_ / 2}, more(), pen_.ink.theme.soft_ink, Anchor::start, Anchor::middle);
    }

private:
    [[nodiscard]] float swatch() const { return pen_.px(26); }
    [[nodiscard]] float gap() const { return pen_.px(7); }
    [[nodiscard]] std::string more() const { return fmt::format("and {} more", left_out_); }
    // The first `count` of them, and room for words of this width behind.
    void place(std::size_t count, float words) {
        places_.clear();
        Point at{area_.left, area_.top};
        const auto fit = [&](float width) {
            if (at.x > area_.left && at.x + width > area_.right) at = {area_.left, at.y + row_};
        };
        for (std::size_t k = 0; k < count; ++k) {
            const float width = swatch() + gap() + pen_.extent(entries_[k]->label).x;
            fit(width);
            places_.push_back({at.x, at.y, at.x + width, at.y + row_});
            at.x += width + pen_.px(20);
        }
        if (words > 0) fit(words);
        end_ = at;
        rows_ = count == 0 && words <= 0 ? 0 : static_cast<int>(std::lround((at.y - area_.top) / row_)) + 1;
    }

    const Pen& pen_;
    Rect area_;
    float row_ = 0;
    int rows_ = 0;
    std::vector<const LegendEntry*> entries_;
    std::vector<Rect> places_;
    Point end_;
    std::size_t left_out_ = 0;
};

// Where the label of a mark goes: above the panes, so that it hides no data.
struct MarkLabel {
    std::size_t mark = 0;
    std::string text;
    bool to_left = false;
    int row = 0;
};

// The lowest frequency's label to the left of its stem, the others' to the right, as far as there is room: then no stem
// runs through the words of another, and two marks share one row. On the same side the stems are ordered likewise.
std::vector<MarkLabel> plan_marks(const Pen& pen, const PlotScene& scene, const PaneMap& map, float left, float right) {
    std::vector<MarkLabel> labels;
    for (std::size_t k = 0; k < scene.marks.size(); ++k) {
        const float x = map.x(scene.marks[k].frequency_hz);
        if (x >= map.area().left && x <= map.area().right) labels.push_back({k, scene.marks[k].label, false, 0});
    }
    const auto lower = [&](const MarkLabel& a, const MarkLabel& b) {
        return scene.marks[a.mark].frequency_hz < scene.marks[b.mark].frequency_hz;
    };
    std::sort(labels.begin(), labels.end(), lower);
    for (std::size_t k = 0; k < labels.size(); ++k) {
        MarkLabel& l = labels[k];
        const float x = map.x(scene.marks[l.mark].frequency_hz);
        const float room_left = x - left - pen.px(10), room_right = right - x - pen.px(10);
        const float width = pen.extent(l.text).x;
        l.to_left = k == 0 && labels.size() > 1 ? width < room_left || room_left > room_right : width >= room_right;
    }
    // The difference stands beside the measured one, the second of the two, or where else there is room for it.
    if (!scene.difference.empty()) {
        std::stable_sort(labels.begin(), labels.end(),
                         [](const MarkLabel& one, const MarkLabel& other) { return one.mark > other.mark; });
        for (MarkLabel& l : labels) {
            const float x = map.x(scene.marks[l.mark].frequency_hz);
            const std::string longer = l.text + "   " + scene.difference;
            if (l.mark > 1 || pen.extent(longer).x > (l.to_left ? x - left : right - x) - pen.px(10)) continue;
            l.text = longer;
            break;
        }
        std::sort(labels.begin(), labels.end(), lower);
    }
    int rows_left = 0, rows_right = 0;
    for (auto l = labels.rbegin(); l != labels.rend(); ++l) {
        if (l->to_left) l->row = rows_left++;
    }
    for (MarkLabel& l : labels) {
        if (!l.to_left) l.row = rows_right++;
    }
    return labels;
}

void draw_mark_labels(const Pen& pen, Rect strip, const PlotScene& scene, const PaneMap& map,
                      const std::vector<MarkLabel>& labels) {
    const float row = pen.extent("Xg").y + pen.px(2);
    for (const MarkLabel& l : labels) {
        const PlotMark& mark = scene.marks[l.mark];
        const float x = map.x(mark.frequency_hz), top = strip.top + row * static_cast<float>(l.row);
        pen.label({l.to_left ? x - pen.px(6) : x + pen.px(6), top}, l.text, mark.color,
                  l.to_left ? Anchor::end : Anchor::start, Anchor::start);
        pen.canvas.line({x, top + pen.px(3)}, {x, strip.bottom}, mark.color, pen.px(1.5F));
    }
}

void draw_grid(const Pen& pen, const PaneMap& map, const AxisView& x, const AxisView& y, const PlotPane& pane,
               bool frequency_labels) {
    const Theme& t = pen.ink.theme;
    const Rect& a = map.area();
    const float label_width = pen.extent("8.88M").x + pen.px(24);
    for (const Tick& tick : ticks(x.range, x.scale, static_cast<int>(a.width() / label_width))) {
        const float at = map.x(tick.value);
        if (at < a.left - 0.5F || at > a.right + 0.5F) continue;
        pen.canvas.line({at, a.top}, {at, a.bottom}, t.rule.with_alpha(tick.major ? 255 : 90), pen.px(1));
        if (frequency_labels && !tick.label.empty()) {
            // Kept inside the plot's width, so that the first and the last are whole.
            const float half = pen.extent(tick.label).x / 2;
            pen.label({std::min(at, a.right - half + pen.px(8)), a.bottom + pen.px(5)}, tick.label, t.soft_ink,
                      Anchor::middle, Anchor::start);
        }
    }
    const float label_height = pen.extent("8").y * 1.7F;
    const int most = std::max(4, static_cast<int>(a.height() / label_height));
    const bool degrees = pane.unit == "\u00b0" && y.scale == Scale::linear;
    for (const Tick& tick : degrees ? degree_ticks(y.range, most) : ticks(y.range, y.scale, most)) {
        const float at = map.y(tick.value);
        if (at < a.top - 0.5F || at > a.bottom + 0.5F) continue;
        if (tick.major) pen.canvas.line({a.left, at}, {a.right, at}, t.rule, pen.px(1));
        if (!tick.label.empty()) {
            pen.label({a.left - pen.px(7), at}, tick.label, t.soft_ink, Anchor::end, Anchor::middle);
        }
    }
    pen.label({a.left, a.top - pen.px(3)},
              pane.unit.empty() ? pane.title : fmt::format("{} / {}", pane.title, pane.unit), t.ink, Anchor::start,
              Anchor::end);
}

void draw_curve(const Pen& pen, const PlotCurve& curve, const PlotCache::Drawing& d) {
    switch (curve.look) {
        case CurveLook::measured:
            pen.canvas.ribbon(d.upper, d.lower, curve.color.with_alpha(56));
            if (d.dots) {
                for (const Point& p : d.line) draw_dot(pen, p, curve.pattern, curve.color);
            } else {
                draw_line(pen, d.line, curve.pattern, curve.color.with_alpha(210), pen.px(1.6F));
            }
            break;
        case CurveLook::fitted:
            draw_fitted(pen, d.line, curve.color);
            break;
        case CurveLook::line:
            pen.canvas.polyline(d.line, curve.color, pen.px(1.6F));
            break;
        case CurveLook::calculated:
            pen.canvas.dashed_polyline(d.line, curve.color, pen.px(2), pen.px(7), pen.px(5));
            break;
    }
}

void draw_marks(const Pen& pen, const PaneMap& map, const PlotScene& scene) {
    const Rect& a = map.area();
    for (const PlotMark& mark : scene.marks) {
        const float x = map.x(mark.frequency_hz);
        const float low = map.x(mark.frequency_hz - mark.half_width_hz);
        const float high = map.x(mark.frequency_hz + mark.half_width_hz);
        if (high < a.left || low > a.right) continue;
        pen.canvas.rectangle({std::max(low, a.left), a.top, std::min(high, a.right), a.bottom},
                             mark.color.with_alpha(36), 0);
        if (mark.dashed) {
            pen.canvas.dashed_line({x, a.top}, {x, a.bottom}, mark.color, pen.px(1.5F), pen.px(7), pen.px(5));
        } else {
            pen.canvas.line({x, a.top}, {x, a.bottom}, mark.color, pen.px(1.5F));
        }
    }
}

void draw_cursors(const Pen& pen, const PaneMap& map, const PlotView& view, bool letters) {
    const std::array<std::pair<const std::optional<Cursor>*, const char*>, 2> both{
        {{&view.cursor_a, "A"}, {&view.cursor_b, "B"}}};
    for (const auto& [cursor, letter] : both) {
        if (!*cursor) continue;
        const float x = map.x((*cursor)->frequency_hz);
        const Rect& a = map.area();
        if (x < a.left || x > a.right) continue;
        pen.canvas.line({x, a.top}, {x, a.bottom}, pen.ink.theme.ink, pen.px(1));
        if (!letters) continue;
        const float r = pen.small() * 0.75F;
        pen.canvas.disc({x, a.bottom - r - pen.px(3)}, r, pen.ink.theme.ink);
        pen.label({x, a.bottom - r - pen.px(3)}, letter, pen.ink.theme.panel, Anchor::middle, Anchor::middle);
    }
}

}  // namespace

PlotLayout draw_plot(Canvas& canvas, Rect area, const PlotScene& scene, const PlotView& view, const PlotInk& ink,
                     PlotCache& cache, std::optional<Rect> selection) {
    cache.next_frame();
    PlotLayout layout;
    const Pen pen{canvas, ink};
    const Theme& t = ink.theme;
    canvas.rectangle(area, t.panel, pen.px(6));
    const Rect inside = area.inset(pen.px(12));
    const bool empty = !data_x(scene);
    if (empty || scene.panes.empty()) {
        canvas.text(inside.centre(), scene.empty_text,
                    {t.soft_ink, 0, Weight::regular, Anchor::middle, Anchor::middle});
        return layout;
    }

    const float axis_width = pen.extent("-8.88m").x + pen.px(12);
    const float axis_height = pen.extent("8").y * 2 + pen.px(8);
    const float mark_row = pen.extent("Xg").y + pen.px(2);
    const PaneMap across({inside.left + axis_width, 0, inside.right, 1}, view.x, view.y[0]);
    std::vector<MarkLabel> labels = plan_marks(pen, scene, across, inside.left, inside.right);
    // Every pane has its title in a row of its own above it.
    const float title = mark_row + pen.px(4), between = title + pen.px(6);
    bool two = scene.panes.size() > 1;
    const auto panes_under = [&](const Legend& legend) {
        int rows = 0;
        for (const MarkLabel& l : labels) rows = std::max(rows, l.row + 1);
        const float marks = mark_row * static_cast<float>(rows);
        return Rect{inside.left + axis_width, inside.top + legend.height() + marks + title, inside.right,
                    inside.bottom - axis_height};
    };
    const float third = inside.height() / 3;
    std::optional<Legend> legend(std::in_place, pen, inside, scene,
                                 std::max(1, static_cast<int>(third / (mark_row + pen.px(4)))));
    Rect all = panes_under(*legend);
    const auto short_of = [&](float height) { return all.height() < pen.px(height); };
    if (short_of(kLeastTwoPanes)) {
        legend.emplace(pen, inside, scene, 1);
        all = panes_under(*legend);
        two = two && !short_of(kLeastTwoPanes);
    }
    if (short_of(kLeastPane)) {
        labels.clear();
        all = panes_under(*legend);
    }
    const float upper = two ? (all.height() - between) * 0.58F : all.height();
    std::array<Rect, kMostPanes> areas{Rect{all.left, all.top, all.right, all.top + upper},
                                       Rect{all.left, all.top + upper + between, all.right, all.bottom}};
    legend->draw(layout);
    if (short_of(kLeastDrawn) || all.width() < pen.px(kLeastDrawn)) return layout;

    draw_mark_labels(pen, {all.left, inside.top + legend->height(), all.right, all.top}, scene,
                     PaneMap(areas[0], view.x, view.y[0]), labels);
    const std::size_t count = two ? kMostPanes : 1;
    for (std::size_t k = 0; k < count; ++k) {
        const PaneMap map(areas[k], view.x, view.y[k]);
        const bool last = k + 1 == count;
        draw_grid(pen, map, view.x, view.y[k], scene.panes[k], last);
        canvas.clip(areas[k]);
        draw_marks(pen, map, scene);
        for (CurveLook look : {CurveLook::measured, CurveLook::line, CurveLook::calculated, CurveLook::fitted}) {
            for (const PlotCurve& curve : scene.panes[k].curves) {
                if (curve.look == look && curve.data)
                    draw_curve(pen, curve, cache.get(*curve.data, map, view.x, view.y[k]));
            }
        }
        draw_cursors(pen, map, view, last);
        canvas.unclip();
        canvas.frame(areas[k], t.soft_ink.with_alpha(140), pen.px(1));
        layout.panes.push_back(areas[k]);
    }
    pen.label({all.centre().x, inside.bottom}, "Frequency / Hz", t.soft_ink, Anchor::middle, Anchor::end);
    if (selection) {
        canvas.rectangle(*selection, t.accent.with_alpha(40), 0);
        canvas.frame(*selection, t.accent, pen.px(1));
    }
    return layout;
}

}  // namespace coldtune::picture
