// What comes up over the window: keys, cautions, the uncertainty budget.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

// A sheet in the middle, as wide as asked or as there is room. True while it is open; then end_sheet.
bool begin_sheet(const Ui& ui, const char* name, bool open, float width, float height) {
    if (open && !ImGui::IsPopupOpen(name)) ImGui::OpenPopup(name);
    if (!open && !ImGui::IsPopupOpen(name)) return false;
    const ImVec2 all = ImGui::GetIO().DisplaySize;
    const ImVec2 size{std::min(ui.px(width), all.x - ui.px(32)), std::min(ui.px(height), all.y - ui.px(32))};
    ImGui::SetNextWindowSize(size, ImGuiCond_Always);
    ImGui::SetNextWindowPos({all.x / 2, all.y / 2}, ImGuiCond_Always, {0.5F, 0.5F});
    ImGui::PushStyleVar(ImGuiStyleVar_WindowPadding, ImVec2{ui.px(28), ui.px(22)});
    const bool shown = ImGui::BeginPopupModal(name, nullptr,
                                              ImGuiWindowFlags_NoTitleBar | ImGuiWindowFlags_NoResize |
                                                  ImGuiWindowFlags_NoMove | ImGuiWindowFlags_NoSavedSettings);
    ImGui::PopStyleVar();
    if (!shown) return false;
    if (!open) {
        ImGui::CloseCurrentPopup();
        ImGui::EndPopup();
        return false;
    }
    const ImVec2 at = ImGui::GetWindowPos(), extent = ImGui::GetWindowSize();
    ui.mark(std::string("sheet.") + name, {at.x, at.y, at.x + extent.x, at.y + extent.y});
    return true;
}

void title(const Ui& ui, std::string_view text) {
    ImGui::PushFont(ui.fonts.title);
    paragraph(ui, text);
    ImGui::PopFont();
    gap(ui, 4);
}

void bullets(const Ui& ui, std::span<const std::string_view> lines) {
    for (std::string_view line : lines) bullet(ui, line);
}

// The lower edge of a sheet, always in view.
float footer_height(const Ui& ui) {
    return ImGui::GetFrameHeight() + ui.px(14);
}

void key_rows(const Ui& ui, std::string_view group, float key_width) {
    heading(ui, group);
    for (const Command& c : commands()) {
        if (c.group != group || c.title.empty()) continue;
        const float left = ImGui::GetCursorPosX();
        ImGui::PushFont(ui.fonts.strong);
        ImGui::TextUnformatted(c.keys.data(), c.keys.data() + c.keys.size());
        ImGui::PopFont();
        ImGui::SameLine();
        ImGui::SetCursorPosX(left + key_width);
        paragraph(ui, c.title);
    }
    gap(ui, 8);
}

}  // namespace

void help_sheet(const Ui& ui) {
    if (!begin_sheet(ui, "help", ui.s.help_open, 1080, 800)) return;
    title(ui, "Keys");
    const float key_width = ui.px(130);
    ImGui::BeginChild("help.body", {0, -footer_height(ui)});
    const bool two = ImGui::GetContentRegionAvail().x > ui.px(700);
    if (ImGui::BeginTable("help.columns", two ? 2 : 1)) {
        ImGui::TableNextColumn();
        for (std::string_view group : {"Measuring", "Steps", "Coil", "Window"}) key_rows(ui, group, key_width);
        ImGui::TableNextColumn();
        for (std::string_view group : {"Plot", "Runs", "Tuning"}) key_rows(ui, group, key_width);
        heading(ui, "Mouse on the plot");
        constexpr std::array<std::pair<std::string_view, std::string_view>, 6> kMouse = {{
            {"Wheel", "zoom the frequency axis; with Shift the values"},
            {"Drag", "move along the frequency axis"},
            {"Right drag", "zoom to a box (also Ctrl and drag)"},
            {"Click", "cursor A; right or Shift click: cursor B"},
            {"Double click", "back to the resonance, cursors away"},
            {"Legend", "a click shows or hides that run"},
        }};
        for (const auto& [what, does] : kMouse) {
            const float left = ImGui::GetCursorPosX();
            ImGui::PushFont(ui.fonts.strong);
            ImGui::TextUnformatted(what.data(), what.data() + what.size());
            ImGui::PopFont();
            ImGui::SameLine();
            ImGui::SetCursorPosX(left + key_width);
            paragraph(ui, does);
        }
        gap(ui, 8);
        soft(ui, "Tab and the arrow keys reach every field and button, Enter presses it.");
        soft(
            ui,
            "Space, Delete and the letters rest while you are in a form, also after a click beside its fields, so that "
            "nothing sounds or goes by mistake. Escape, Enter, a button, another step or a click outside wakes them. "
            "Whatever runs, Space stops it.");
        ImGui::EndTable();
    }
    ImGui::EndChild();
    if (button(ui, "help.close", "Close", ButtonKind::primary)) ui.ask(action(Do::close_dialog));
    ImGui::EndPopup();
}

void cautions_sheet(const Ui& ui) {
    if (!begin_sheet(ui, "cautions", ui.s.cautions_open, 760, 620)) return;
    const bool first = !ui.s.cautions_acknowledged && !ui.s.bench.simulated();
    title(ui, first ? "Before the first sweep" : "Cautions");
    ImGui::BeginChild("cautions.body", {0, -footer_height(ui)});
    bullets(ui, bench::general_cautions());
    gap(ui, 8);
    heading(ui, fmt::format("In the hookup '{}'", bench::describe(ui.s.bench.hookup).name));
    bullets(ui, bench::describe(ui.s.bench.hookup).cautions);
    bullets(ui, standing_cautions(ui.s.bench.standing()));
    gap(ui, 8);
    heading(ui, "Before any power-up");
    bullets(ui, bench::before_power_reminders());
    ImGui::EndChild();
    if (first) {
        if (button(ui, "cautions.accept", "All of this is so", ButtonKind::primary)) {
            ui.ask(action(Do::acknowledge_cautions));
        }
        ImGui::SameLine();
        if (button(ui, "cautions.close", "Not yet")) ui.ask(action(Do::close_dialog));
    } else if (button(ui, "cautions.close", "Close", ButtonKind::primary)) {
        ui.ask(action(Do::close_dialog));
    }
    ImGui::EndPopup();
}

void budget_sheet(const Ui& ui) {
    const Run* run = ui.s.selected();
    const auto* r = run != nullptr ? run->result.resonance() : nullptr;
    if (!begin_sheet(ui, "budget", ui.s.budget_open && r != nullptr, 820, 620)) return;
    title(ui, fmt::format("{}: where the uncertainty comes from", run->name));
    ImGui::BeginChild("budget.body", {0, -footer_height(ui)});
    paragraph(
        ui, fmt::format("Resonance {}, half-width for 95 % (k = 2). Each line below is a standard uncertainty (k = 1); "
                        "squares add.",
                        hertz_with(r->frequency_hz, r->frequency_u95_hz)));
    gap(ui, 6);
    // What adds less than a millionth to the variance is no contribution anybody could see.
    constexpr double kVisible = 1e-3;
    const auto figure = [](double u, double whole, record::Unit unit) {
        return u > kVisible * whole ? record::format_quantity(u, unit, 2, true) : std::string("\u2013");
    };
    if (ImGui::BeginTable(
            "budget.table", 5,
            ImGuiTableFlags_BordersInnerH | ImGuiTableFlags_SizingStretchProp | ImGuiTableFlags_PadOuterX)) {
        ImGui::TableSetupColumn("Source", 0, 2.2F);
        ImGui::TableSetupColumn("Frequency", 0, 1.3F);
        ImGui::TableSetupColumn("Share", 0, 1.4F);
        ImGui::TableSetupColumn("Q", 0, 1);
        ImGui::TableSetupColumn("Resistance", 0, 1.3F);
        ImGui::TableHeadersRow();
        const double total = r->frequency_u95_hz / 2;
        for (const measure::BudgetLine& line : r->budget) {
            ImGui::TableNextRow();
            ImGui::TableNextColumn();
            paragraph(ui, line.source);
            ImGui::TableNextColumn();
            paragraph(ui, figure(line.frequency_u_hz, total, record::Unit::hertz));
            ImGui::TableNextColumn();
            const float share =
                total > 0 ? static_cast<float>(line.frequency_u_hz * line.frequency_u_hz / (total * total)) : 0;
            const Rect bar = room(ImGui::GetContentRegionAvail().x, ImGui::GetTextLineHeight());
            ImguiCanvas canvas = canvas_here(ui);
            const float middle = bar.centre().y;
            canvas.rectangle({bar.left, middle - ui.px(4), bar.right, middle + ui.px(4)}, ui.theme.raised, ui.px(3));
            canvas.rectangle({bar.left, middle - ui.px(4), bar.left + bar.width() * std::clamp(share, 0.0F, 1.0F),
                              middle + ui.px(4)},
                             ui.theme.accent, ui.px(3));
            ImGui::TableNextColumn();
            paragraph(ui, figure(line.q_u, r->q_u95.value_or(0) / 2, record::Unit::none));
            ImGui::TableNextColumn();
            paragraph(ui, figure(line.resistance_u_ohm, r->resistance_u95_ohm.value_or(0) / 2, record::Unit::ohm));
        }
        ImGui::EndTable();
    }
    gap(ui, 6);
    if (r->q && !r->cross_checks.empty()) {
        heading(ui, "The same Q by other routes, for the eye");
        fact(ui, "fit", fmt::format("{:.1f}", *r->q), ui.px(180));
        for (const measure::CrossCheck& c : r->cross_checks) fact(ui, c.route, fmt::format("{:.1f}", c.q), ui.px(180));
    }
    if (r->degrees_of_freedom > 0) {
        gap(ui, 6);
        soft(ui,
             fmt::format("Misfit: chi square {:.0f} for {} degrees of freedom. Fitted from {} to {}.", r->chi_square,
                         r->degrees_of_freedom, hertz(r->fit_window.low_hz, 5), hertz(r->fit_window.high_hz, 5)));
    }
    ImGui::EndChild();
    if (button(ui, "budget.close", "Close", ButtonKind::primary)) ui.ask(action(Do::close_dialog));
    ImGui::EndPopup();
}

}  // namespace coldtune::gui
