// Step 4: sweep, and what came of it.
#include <fmt/format.h>

#include <algorithm>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

void progress(const Ui& ui) {
    const Progress& p = ui.s.progress;
    const std::string what = p.stopping                    ? std::string("stopping")
                             : p.steps > 1 && !p.analysing ? fmt::format("Step {} of {}: {}", p.step, p.steps, p.what)
                                                           : std::string(p.what);
    if (p.task == Task::follow && ui.s.live()) {
        const Following& f = *ui.s.following;
        paragraph(ui, p.stopping
                          ? std::string("ending")
                          : fmt::format("Following, {:.0f} readings a second. Move the top load or the tap; the last "
                                        "reading is kept when you stop.",
                                        f.update_s > 0 ? 1 / f.update_s : 0));
        return;
    }
    paragraph(ui, what);
    ImGui::ProgressBar(static_cast<float>(std::clamp(p.fraction, 0.0, 1.0)), {-1, ui.px(10)}, "");
    ui.mark("progress");
    soft(ui, p.seconds_left > 0.5 ? fmt::format("{:.0f} s left of this step", p.seconds_left) : std::string(" "));
}

void verdict(const Ui& ui) {
    const measure::MeasurementResult* result = ui.s.shown_result();
    if (result == nullptr) return;
    const auto v = result->verdict();
    const std::string text = v == measure::Verdict::good      ? "Good measurement"
                             : v == measure::Verdict::caution ? "Measured, with caution"
                                                              : "Rejected: no result";
    ImGui::PushFont(ui.fonts.title);
    paragraph(ui, text, verdict_color(ui.theme, v));
    ImGui::PopFont();
    ui.mark("verdict");
    findings_list(ui, result->findings);
    if (result->resonance() != nullptr && !ui.s.live()) {
        if (button(ui, "budget", "Where the uncertainty comes from", ButtonKind::quiet))
            ui.ask(action(Do::toggle_budget));
    }
}

}  // namespace

void sweep_controls(const Ui& ui) {
    const State& s = ui.s;
    if (s.busy()) {
        if (button(ui, "sweep", "Stop   (space bar)", ButtonKind::chosen, -1)) ui.ask(action(Do::stop));
        progress(ui);
    } else {
        if (button(ui, "sweep", "Sweep   (space bar)", ButtonKind::primary, -1)) ui.ask(action(Do::sweep_or_stop));
        const bool can_follow = s.bench.hookup != bench::Hookup::winding;
        if (button(ui, "follow", "Follow live   (F)", ButtonKind::ordinary, -1, can_follow)) {
            ui.ask(action(Do::follow_or_stop));
        }
        std::string standards;
        for (const auto& [which, taken] : s.standards) {
            if (!s.usable(taken)) continue;
            if (!standards.empty()) standards += ", ";
            standards += bench::describe(which).name;
        }
        soft(ui, fmt::format("{}, {}, {}; standards: {}", bench::describe(s.bench.hookup).name,
                             s.bench.simulated() ? "simulated bench" : s.bench.device,
                             rate_words(s.bench.sample_rate_hz), standards.empty() ? "none" : standards));
    }
    meters(ui);
    if (!s.complaint.empty()) {
        gap(ui, 4);
        paragraph(ui, s.complaint, ui.theme.rejected);
    }
}

void sweep_outcome(const Ui& ui) {
    gap(ui, 8);
    verdict(ui);
    gap(ui, 8);
    runs_panel(ui);
}

}  // namespace coldtune::gui
