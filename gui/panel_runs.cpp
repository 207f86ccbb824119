// The runs made so far: look at any, overlay any, compare two.
#include <fmt/chrono.h>
#include <fmt/format.h>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

// What of the coil stood there is as much as where the leads were.
std::string run_hookup(const Run& run) {
    std::string words(bench::describe(run.result.hookup).name);
    if (run.result.pair() != nullptr) return words + ", tank closed";
    const auto* accepted = std::get_if<measure::Accepted>(&run.result.outcome);
    if (accepted != nullptr && accepted->coupling) return words + ", primary open and shorted";
    const auto& described = run.result.description;
    if (run.result.hookup == bench::Hookup::tank && described && described->tank && described->primary) {
        return words + fmt::format(", tap {:.4g}", described->tank->tap_turns.value_or(described->primary->turns));
    }
    return described && described->topload.empty() ? words + ", no top load" : words;
}

// The day too, where it is not this one.
std::string when_words(Clock::time_point time) {
    const auto then = fmt::localtime(Clock::to_time_t(time)), now = fmt::localtime(Clock::to_time_t(Clock::now()));
    const bool today = then.tm_yday == now.tm_yday && then.tm_year == now.tm_year;
    return today ? fmt::format("{:%H:%M}", then) : fmt::format("{:%Y-%m-%d %H:%M}", then);
}

// Where they are kept, and what is not.
void keeping(const Ui& ui) {
    const State& s = ui.s;
    if (!s.deleted_runs.empty()) {
        const Run& last = s.deleted_runs.back();
        ImGui::AlignTextToFramePadding();
        paragraph(ui, last.name + " is deleted.");
        ImGui::SameLine();
        if (button(ui, "run.undelete", "Bring it back", ButtonKind::quiet)) ui.ask(action(Do::undo_delete));
        if (last.number > 0) soft(ui, "Its recording stays in the book's folder.");
    }
    if (s.book.path.empty()) {
        soft(ui, "These runs are not kept: the window was begun to remember nothing.");
        return;
    }
    if (!s.book.complaint.empty()) paragraph(ui, s.book.complaint, ui.theme.rejected);
    soft(ui, "Kept in " + s.book.path);
    ui.mark("book");
}

void row(const Ui& ui, const Run& run) {
    const State& s = ui.s;
    const bool chosen = run.id == s.selected_run;
    const std::string id = std::to_string(run.id);
    const float all = ImGui::GetContentRegionAvail().x, height = ImGui::GetFontSize() * 2.55F;
    const ImVec2 at = ImGui::GetCursorScreenPos();
    const float swatch = ui.px(30);
    ImGui::PushID(run.id);

    // The swatch shows or hides the curves, the rest chooses the run.
    if (ImGui::InvisibleButton("shown", {swatch, height})) ui.ask(action(Do::toggle_run, static_cast<double>(run.id)));
    ui.mark("run.shown." + id);
    ImGui::SameLine(0, 0);
    if (ImGui::InvisibleButton("row", {all - swatch, height}))
        ui.ask(action(Do::select_run, static_cast<double>(run.id)));
    ui.mark("run." + id);
    const bool hovered = ImGui::IsItemHovered() || (ImGui::IsItemFocused() && ImGui::GetIO().NavVisible);

    ImguiCanvas canvas(*ImGui::GetWindowDrawList(), ui.fonts, ui.fonts.body->FontSize);
    if (chosen || hovered) {
        canvas.rectangle({at.x, at.y, at.x + all, at.y + height},
                         chosen ? ui.theme.raised : ui.theme.raised.with_alpha(120), ui.px(5));
    }
    const Color color = ui.theme.run_color(static_cast<std::size_t>(run.id - 1));
    const Point spot{at.x + swatch / 2, at.y + height / 2};
    // Runs of one colour differ by their line.
    const Pattern pattern = ui.theme.run_pattern(static_cast<std::size_t>(run.id - 1));
    const float dash = pattern == Pattern::dashed ? ui.px(6) : ui.px(10);
    if (pattern != Pattern::solid) {
        const float above = spot.y + ui.px(12);
        canvas.dashed_line({at.x + ui.px(3), above}, {at.x + swatch - ui.px(1), above}, color, ui.px(2.5F), dash,
                           ui.px(4));
    }
    if (run.shown) {
        canvas.disc(spot, ui.px(7), color);
    } else {
        canvas.ring(spot, ui.px(6), color, ui.px(2));
    }
    const bool good = run.result.verdict() != measure::Verdict::rejected;
    const std::string figure = run_figure(run.result);
    const float left = at.x + swatch + ui.px(4);
    canvas.text({left, at.y + height * 0.06F}, figure,
                {good ? ui.theme.ink : ui.theme.rejected, 0, chosen ? Weight::strong : Weight::regular});
    const measure::Resonance* r = run.result.resonance();
    const std::string way = r == nullptr ? "" : fmt::format(", {}", measure::way_name(r->way));
    std::string below = fmt::format("{}  {}{}  {}", run.name, run_hookup(run), way, when_words(run.time));
    if (run.device == kSimulated) below += ", simulated";
    if (!run.note.empty()) below += "  " + run.note;
    canvas.clip({at.x, at.y, at.x + all, at.y + height});
    canvas.text({left, at.y + height * 0.53F}, below, {ui.theme.soft_ink, ui.fonts.small->FontSize});
    canvas.unclip();
    ImGui::PopID();
}

// A long list would push what was just asked for out of sight: it is scrolled to when the comparison is first told, and
// never again under a hand that has gone on.
void bring_into_view(const State& s) {
    int* seen = ImGui::GetStateStorage()->GetIntRef(ImGui::GetID("comparison.seen"), -1);
    const int now = s.compare_run.value_or(-1);
    if (*seen == now || (now >= 0 && !s.comparison.outcome)) return;
    *seen = now;
    if (now < 0) return;
    if (ImGui::GetCursorScreenPos().y > ImGui::GetWindowPos().y + ImGui::GetWindowHeight()) ImGui::SetScrollHereY(1);
}

}  // namespace

void runs_panel(const Ui& ui) {
    const State& s = ui.s;
    if (s.runs.empty()) {
        if (!s.deleted_runs.empty() || !s.book.complaint.empty()) keeping(ui);
        return;
    }
    heading(ui, "Runs");
    for (auto run = s.runs.rbegin(); run != s.runs.rend(); ++run) row(ui, *run);
    if (s.compare_run) {
        gap(ui, 4);
        comparison_panel(ui);
        gap(ui, 6);
    }
    bring_into_view(s);
    gap(ui, 2);
    if (const Run* chosen = s.selected()) {
        std::string note = chosen->note;
        if (text_field(ui, "run.note", "Note to this run", note, -1)) {
            ui.ask({Do::note_run, {}, note, static_cast<double>(chosen->id), true});
        }
        if (s.runs.size() > 1) {
            const bool on = s.compare_run.has_value();
            if (button(ui, "run.compare", on ? "End comparison" : "Compare with the one before",
                       on ? ButtonKind::chosen : ButtonKind::ordinary, 0, on || chosen->id != s.runs.front().id)) {
                ui.ask(action(Do::compare_run));
            }
            ImGui::SameLine();
            const float wide = ImGui::CalcTextSize("Delete").x + 2 * ImGui::GetStyle().FramePadding.x;
            if (ImGui::GetContentRegionAvail().x < wide) ImGui::NewLine();
        }
        if (button(ui, "run.delete", "Delete", ButtonKind::quiet)) ui.ask(action(Do::delete_run));
        if (!chosen->standards.empty()) soft(ui, "Corrected with: " + chosen->standards);
        if (!chosen->unkept.empty()) {
            paragraph(ui, "Not in the book: " + chosen->unkept, ui.theme.caution);
            if (chosen->has_recording && button(ui, "run.keep", "Try again")) ui.ask(action(Do::keep_again));
        }
    }
    keeping(ui);
}

}  // namespace coldtune::gui
