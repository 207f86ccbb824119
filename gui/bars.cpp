// The path of steps above, the state of things below.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <vector>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

struct StepText {
    Step step;
    const char* title;
    Do go;
};
constexpr std::array<StepText, kSteps> kPath = {{
    {Step::coil, "Describe the coil", Do::go_coil},
    {Step::wiring, "Wire it", Do::go_wiring},
    {Step::standards, "Standards", Do::go_standards},
    {Step::sweep, "Sweep and compare", Do::go_sweep},
    {Step::tuning, "Set the primary", Do::go_tuning},
}};

bool done(const State& s, Step step) {
    switch (step) {
        case Step::coil:
            return s.calculation.value.has_value();
        case Step::wiring:
            return s.bench_reading.settings && s.wiring_check && s.wiring_check->good;
        case Step::standards:
            return std::any_of(s.standards.begin(), s.standards.end(),
                               [&](const auto& entry) { return s.usable(entry.second); });
        case Step::sweep: {
            const Run* run = s.selected();
            return run != nullptr && run->result.verdict() != measure::Verdict::rejected;
        }
        case Step::tuning: {
            const auto& outcome = s.tuning.outcome;
            return outcome && outcome->tune && outcome->tune->outcome() == tuning::Outcome::tuned;
        }
    }
    return false;
}

// A button without room for its words.
void sign(const Ui& ui, ImguiCanvas& canvas, const std::string& name, const std::pair<const char*, Do>& item,
          Rect place) {
    ImGui::SetCursorScreenPos({place.left, place.top});
    if (ImGui::InvisibleButton(name.c_str(), {place.width(), place.height()})) ui.ask(action(item.second));
    ui.mark(name);
    const bool hot = ImGui::IsItemHovered() || (ImGui::IsItemFocused() && ImGui::GetIO().NavVisible);
    if (ImGui::IsItemHovered()) ImGui::SetTooltip("%s", item.first);
    const Point centre = place.centre();
    const float radius = ui.px(12);
    const Color color = hot ? ui.theme.ink : ui.theme.accent;
    canvas.ring(centre, radius, color, ui.px(1.5F));
    if (item.second != Do::toggle_theme) {
        canvas.text(centre, item.second == Do::help ? "?" : "!",
                    {color, 0, Weight::strong, Anchor::middle, Anchor::middle});
        return;
    }
    // Half dark, half light.
    std::array<Point, 13> half;
    for (std::size_t k = 0; k < half.size(); ++k) {
        const float angle = std::numbers::pi_v<float> * (0.5F + static_cast<float>(k) / (half.size() - 1));
        half[k] = {centre.x + radius * std::cos(angle), centre.y + radius * std::sin(angle)};
    }
    canvas.polygon(half, color);
}

}  // namespace

void path_bar(const Ui& ui, float width, float height) {
    const ImVec2 at = ImGui::GetCursorScreenPos();
    ImguiCanvas canvas(*ImGui::GetWindowDrawList(), ui.fonts, ui.fonts.body->FontSize);
    const float disc = ui.px(14), inner = ui.px(9);
    float pad = ui.px(12);
    const std::array<std::pair<const char*, Do>, 3> kRight = {
        {{"Cautions", Do::show_cautions}, {"Keys", Do::help}, {ui.s.dark ? "Light" : "Dark", Do::toggle_theme}}};
    float right_width = 0;
    for (const auto& [label, what] : kRight) right_width += ImGui::CalcTextSize(label).x + ui.px(24);

    // All titles when they fit; else only the current one's beside its number, or none. What stands on the right is
    // drawn as signs where its words do not fit.
    float titles = 0, current = 0;
    for (const StepText& t : kPath) {
        const float wide = canvas.extent(t.title, 0, Weight::strong).x + inner;
        titles += wide + 2 * disc + 2 * pad;
        if (t.step == ui.s.step) current = wide;
    }
    const bool all_titles = titles + right_width + ui.px(24) < width;
    const float sign_width = 2 * disc + ui.px(8), signs_width = kRight.size() * sign_width;
    bool current_title = true, words = true;
    // Large letters in a small window: what is left is shared out, down to discs that almost touch.
    if (!all_titles) {
        const float discs = kSteps * (2 * disc + ui.px(4));
        words = discs + current + right_width <= width;
        current_title = discs + current + (words ? right_width : signs_width) <= width;
        const float taken = discs + (current_title ? current : 0) + (words ? right_width : signs_width);
        pad = std::clamp((width - taken) / (2 * kSteps), ui.px(1), pad);
    }
    float x = at.x;
    for (const StepText& t : kPath) {
        const bool chosen = ui.s.step == t.step;
        const bool titled = all_titles || (chosen && current_title);
        const float text = titled ? canvas.extent(t.title, 0, Weight::strong).x + inner : 0;
        const Rect box{x, at.y + ui.px(6), x + 2 * disc + text + 2 * pad, at.y + height - ui.px(6)};
        ImGui::SetCursorScreenPos({box.left, box.top});
        if (ImGui::InvisibleButton(t.title, {box.width(), box.height()})) ui.ask(action(t.go));
        ui.mark(std::string("step.") + std::to_string(static_cast<int>(t.step)));
        const bool hot = ImGui::IsItemHovered() || (ImGui::IsItemFocused() && ImGui::GetIO().NavVisible);
        if (chosen || hot) canvas.rectangle(box, chosen ? ui.theme.panel : ui.theme.raised, ui.px(8));
        const Point spot{box.left + pad + disc, box.centre().y};
        const bool complete = done(ui.s, t.step);
        const Color ring = chosen ? ui.theme.accent : complete ? ui.theme.good : ui.theme.soft_ink;
        if (chosen) {
            canvas.disc(spot, disc, ring);
        } else {
            canvas.ring(spot, disc, ring, ui.px(1.5F));
        }
        const Color mark = chosen ? ui.theme.on_accent : ring;
        if (complete && !chosen) {
            const float s = disc * 0.45F;
            const std::array<Point, 3> tick{Point{spot.x - s, spot.y}, Point{spot.x - s * 0.2F, spot.y + s * 0.8F},
                                            Point{spot.x + s * 1.1F, spot.y - s * 0.8F}};
            canvas.polyline(tick, mark, ui.px(2.2F));
        } else {
            canvas.text(spot, std::to_string(static_cast<int>(t.step) + 1),
                        {mark, 0, Weight::strong, Anchor::middle, Anchor::middle});
        }
        if (titled) {
            canvas.text({spot.x + disc + inner, spot.y}, t.title,
                        {chosen ? ui.theme.ink : ui.theme.soft_ink, 0, chosen ? Weight::strong : Weight::regular,
                         Anchor::start, Anchor::middle});
        }
        x = box.right + ui.px(2);
    }
    float right = at.x + width;
    const float button_top = at.y + (height - ImGui::GetFrameHeight()) / 2;
    for (auto item = kRight.rbegin(); item != kRight.rend(); ++item) {
        const float wide = words ? ImGui::CalcTextSize(item->first).x + ui.px(22) : sign_width;
        right -= wide;
        const std::string name = std::string("bar.") + std::string(command(item->second).name);
        if (words) {
            ImGui::SetCursorScreenPos({right, button_top});
            if (button(ui, name, item->first, ButtonKind::quiet, wide)) ui.ask(action(item->second));
            right -= ui.px(2);
        } else {
            sign(ui, canvas, name, *item, {right, at.y, right + wide, at.y + height});
        }
    }
}

void status_bar(const Ui& ui, float width, float height) {
    const State& s = ui.s;
    const ImVec2 at = ImGui::GetCursorScreenPos();
    ImguiCanvas canvas = canvas_here(ui);
    const float middle = at.y + height / 2;
    std::string left;
    Color color = ui.theme.soft_ink;
    if (!s.notice.empty()) {
        left = s.notice;
        color = ui.theme.ink;
    } else if (!s.unkept.empty()) {
        left = "Not remembered: " + s.unkept;
        color = ui.theme.rejected;
    } else if (!s.complaint.empty() && s.step != Step::sweep && s.step != Step::standards) {
        left = s.complaint;
        color = ui.theme.rejected;
    } else {
        left = fmt::format("{}   {}   {}", s.bench.simulated() ? std::string("simulated bench") : s.bench.device,
                           rate_words(s.bench.sample_rate_hz), bench::describe(s.bench.hookup).name);
        if (s.bench.standing() != Standing::described) left += fmt::format(", {}", standing_words(s.bench.standing()));
    }
    const char* hint = s.busy()                    ? "Space stops"
                       : s.step == Step::coil      ? "Page Down: next step     F1: keys"
                       : s.step == Step::wiring    ? "Space: check the wiring     F1: keys"
                       : s.step == Step::standards ? "Space: take the next standard     F1: keys"
                       : s.step == Step::tuning    ? "M: measure what comes next     V: next view     F1: keys"
                                                   : "Space: sweep     F1: keys";
    if (ui.in_form && !s.busy()) hint = "Escape leaves the form: then Space and letters act     F1: keys";
    const float hint_width = canvas.extent(hint, 0, Weight::regular).x;
    const bool room_for_hint = canvas.extent(left, 0, Weight::regular).x + hint_width + ui.px(30) < width;
    canvas.clip({at.x, at.y, at.x + width, at.y + height});
    canvas.text({at.x, middle}, left, {color, 0, Weight::regular, Anchor::start, Anchor::middle});
    if (room_for_hint) {
        canvas.text({at.x + width, middle}, hint, {ui.theme.soft_ink, 0, Weight::regular, Anchor::end, Anchor::middle});
    }
    canvas.unclip();
    ui.mark("status", {at.x, at.y, at.x + width, at.y + height});
}

}  // namespace coldtune::gui
