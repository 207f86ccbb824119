// Step 5, right: what the measurements say once they stand together.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "gui/headline.hpp"
#include "gui/panels.hpp"
#include "gui/spark_picture.hpp"
#include "gui/tuning_axis.hpp"

namespace coldtune::gui {
namespace {

constexpr tuning::Ways kWays = {"editable", "put it in its place", ""};

const tuning::TuneResult* tuned(const Ui& ui) {
    const auto& outcome = ui.s.tuning.outcome;
    return outcome && outcome->tune ? &*outcome->tune : nullptr;
}

void views(const Ui& ui) {
    constexpr std::array<const char*, kTuningViews> kNames = {"Tap", "Top load", "Spark gap"};
    ImGui::PushFont(ui.fonts.small);
    for (int k = 0; k < kTuningViews; ++k) {
        if (k > 0) ImGui::SameLine(0, ui.px(4));
        const bool on = static_cast<int>(ui.s.tuning.view) == k;
        if (button(ui, fmt::format("tuning.view.{}", k), kNames[static_cast<std::size_t>(k)],
                   on ? ButtonKind::chosen : ButtonKind::ordinary)) {
            ui.ask(action(Do::tuning_view, static_cast<double>(k)));
        }
    }
    ImGui::PopFont();
    gap(ui, 2);
}

Rect picture(const Ui& ui, const std::string& name, float height) {
    const Rect area = room(ImGui::GetContentRegionAvail().x, height);
    canvas_here(ui).rectangle(area, ui.theme.panel, ui.px(6));
    ui.mark(name, area);
    return area;
}

void remarks(const Ui& ui, const std::vector<tuning::Remark>& list) {
    for (const tuning::Remark& r : list) finding(ui, r.weight, r.text);
}

// What is still to be had before there is anything to say.
void missing(const Ui& ui, std::string_view words) {
    gap(ui, 6);
    soft(ui, words);
}

void tap_view(const Ui& ui) {
    const auto& outcome = *ui.s.tuning.outcome;
    if (!outcome.tune_complaint.empty()) finding(ui, measure::Weight::reject, outcome.tune_complaint);
    const tuning::TuneResult* result = tuned(ui);
    if (result == nullptr) {
        if (outcome.tune_complaint.empty()) {
            missing(ui, "Measured secondary and measured tank stand here on one axis, with what to do to the tap.");
        }
        return;
    }
    if (result->tuning) {
        const tuning::Tuning& t = *result->tuning;
        const auto mark = [](const tuning::Interval& i) {
            return TuningAxis::Mark{i.value, i.u95, hertz_with(i.value, i.u95)};
        };
        const TuningAxis axis{mark(t.secondary_hz), mark(t.target_hz), mark(t.tank_hz), tuning::kTunedWindow,
                              outcome.request->allowance};
        const Rect area = picture(ui, "tuning.axis", ui.px(214));
        ImguiCanvas canvas = canvas_here(ui);
        canvas.clip(area);
        draw_tuning_axis(canvas, area.inset(ui.px(12)), axis, ui.theme, ui.scale);
        canvas.unclip();
        gap(ui, 4);
    }
    remarks(ui, result->remarks);
    if (!result->tuning) return;
    const auto& coil = ui.s.reading.coil;
    if (coil && coil->tank && coil->primary) {
        const double described = coil->tank->tap_turns.value_or(coil->primary->turns);
        if (std::abs(described - result->tuning->tank_turns) > 1e-6 * described) {
            finding(ui, measure::Weight::note,
                    fmt::format("step 1 has the tap at {:.4g} turns now, the tank was last measured at {:.4g}; measure "
                                "it where it stands",
                                described, result->tuning->tank_turns));
        }
    }
    lines_table(ui, "tuning.lines", tuning::tuning_lines(*outcome.request, *result->tuning, kWays));
    ui.mark("tuning.lines");
    if (result->outcome() != tuning::Outcome::tuned) return;
    gap(ui, 6);
    heading(ui, "Before any power-up");
    for (std::string_view line : bench::before_power_reminders()) bullet(ui, line);
}

void instead_form(const Ui& ui) {
    const State& s = ui.s;
    const TuningForm& form = s.tuning.form;
    heading(ui, "What if it were another top load?");
    const std::vector<std::string> names{"None asked about", "Toroid", "Sphere", "Disc"};
    const std::array<const char*, 4> shapes = {"", "toroid", "sphere", "disc"};
    const auto now = std::find(shapes.begin(), shapes.end(), form.instead_shape);
    const int picked = choice(ui, "instead.shape", "Another one", names, static_cast<int>(now - shapes.begin()), true);
    if (picked >= 0) ui.ask(action(Do::set_instead, std::string(shapes[static_cast<std::size_t>(picked)])));
    if (form.instead_shape.empty()) return;
    for (const FieldSpec& spec : topload_fields(form.instead_shape)) {
        const std::string key = topload_key(0, spec.key);
        const auto value = form.instead.text.find(key);
        const auto wrong = s.tuning.reading.complaints.find(key);
        quantity_field(ui, spec, "tuning." + key, value == form.instead.text.end() ? std::string() : value->second,
                       wrong == s.tuning.reading.complaints.end() ? nullptr : &wrong->second, true);
    }
    if (const auto whole = s.tuning.reading.complaints.find(""); whole != s.tuning.reading.complaints.end()) {
        finding(ui, measure::Weight::caution, whole->second);
    }
    const auto& compare = s.tuning.outcome->compare;
    if (compare && compare->instead) {
        paragraph(ui, "The coil would go to " +
                          hertz_with(compare->instead->frequency_hz, compare->instead->frequency_u95_hz) +
                          ", from the measured coil.");
        ui.mark("instead.figure");
    } else if (!compare) {
        soft(ui, "Told once the coil is measured without and with its present top load.");
    }
}

void top_load_view(const Ui& ui) {
    const auto& outcome = *ui.s.tuning.outcome;
    if (!outcome.compare_complaint.empty()) finding(ui, measure::Weight::caution, outcome.compare_complaint);
    if (outcome.compare) {
        lines_table(ui, "topload.lines", tuning::compare_lines(*outcome.compare_request, *outcome.compare, kWays));
        ui.mark("topload.lines");
        remarks(ui, outcome.compare->remarks);
    } else if (outcome.compare_complaint.empty()) {
        missing(ui, "Measured without and with the top load, the two tell what it adds.");
    }
    gap(ui, 10);
    const float all = ImGui::GetContentRegionAvail().x;
    ImGui::BeginChild("instead", {std::min(all, ui.px(560)), 0});
    instead_form(ui);
    ImGui::EndChild();
}

// When the energy is where, until hardly any is left.
void exchanges(const Ui& ui, const model::SparkExchange& spark) {
    if (spark.exchanges.empty()) return;
    gap(ui, 6);
    const float width = std::min(ImGui::GetContentRegionAvail().x, ui.px(620));
    if (!ImGui::BeginTable("spark.exchanges", 4, ImGuiTableFlags_BordersInnerH | ImGuiTableFlags_SizingStretchProp,
                           {width, 0})) {
        return;
    }
    for (const char* name : {"After", "Cycles", "In the tank", "In the secondary"}) ImGui::TableSetupColumn(name);
    ImGui::TableHeadersRow();
    for (const model::Exchange& e : spark.exchanges) {
        const Color tank = e.to_secondary ? ui.theme.soft_ink : ui.theme.ink;
        const Color secondary = e.to_secondary ? ui.theme.ink : ui.theme.soft_ink;
        ImGui::TableNextRow();
        ImGui::TableNextColumn();
        paragraph(ui, record::format_quantity(e.time_s, record::Unit::second, 4, true));
        ImGui::TableNextColumn();
        paragraph(ui, fmt::format("{:.2f}", e.cycles));
        ImGui::TableNextColumn();
        paragraph(ui, fmt::format("{:.1f} %", 100 * e.primary_share), tank);
        ImGui::TableNextColumn();
        paragraph(ui, fmt::format("{:.1f} %", 100 * e.secondary_share), secondary);
    }
    ImGui::EndTable();
    ui.mark("spark.exchanges");
}

void spark_view(const Ui& ui) {
    const auto& outcome = *ui.s.tuning.outcome;
    if (!outcome.spark_complaint.empty()) finding(ui, measure::Weight::caution, outcome.spark_complaint);
    if (!outcome.spark) {
        if (outcome.spark_complaint.empty()) {
            missing(ui,
                    "Frequencies, Q and the coupling of both circuits tell what the energy does after the gap fires: "
                    "measure them together, or give a kept coupling.");
        }
        return;
    }
    finding(ui, measure::Weight::caution, std::string(measure::spark_caution()));
    remarks(ui, outcome.spark_remarks);
    const Rect area =
        picture(ui, "spark.picture", std::clamp(ImGui::GetContentRegionAvail().y * 0.55F, ui.px(300), ui.px(520)));
    ImguiCanvas canvas = canvas_here(ui);
    draw_spark_exchange(canvas, area.inset(ui.px(12)), *outcome.spark, ui.theme, ui.scale);
    gap(ui, 4);
    std::vector<tuning::Line> lines;
    for (const measure::SparkLine& line : measure::spark_lines(*outcome.spark)) {
        if (line.name == "exchanges") break;  // as a table of its own
        lines.push_back({line.name, line.value, ""});
    }
    lines_table(ui, "spark.lines", lines);
    ui.mark("spark.lines");
    exchanges(ui, outcome.spark->exchange);
    for (const std::string& source : outcome.spark->inputs.sources) soft(ui, "from: " + source);
}

}  // namespace

float tuning_readout(const Ui& ui, float width) {
    const auto& outcome = ui.s.tuning.outcome;
    const tuning::TuneResult* result = tuned(ui);
    Headline h;
    h.small = "The primary against the secondary";
    if (result == nullptr) {
        h.color = ui.theme.soft_ink;
        h.large = "not told yet";
        if (outcome) {
            const auto next = std::find_if(outcome->steps.begin(), outcome->steps.end(),
                                           [](const tuning::Step& s) { return s.state == tuning::Step::State::left; });
            if (next != outcome->steps.end()) h.second.push_back("Next: " + next->text);
        }
        return draw_headline(ui, h, width, "readout");
    }
    const std::string verdict = plus_minus(tuning::verdict_text(*result));
    // The first part large; what follows in brackets or after a colon beneath.
    const auto cut = std::min(verdict.find(" ("), verdict.find(": "));
    h.large = verdict.substr(0, cut);
    if (cut != std::string::npos) {
        std::string rest = verdict.substr(cut + 2);
        if (!rest.empty() && rest.back() == ')') rest.pop_back();
        h.second.push_back(std::move(rest));
    }
    switch (result->outcome()) {
        case tuning::Outcome::tuned:
            h.color = ui.theme.good;
            break;
        case tuning::Outcome::undecided:
        case tuning::Outcome::change_capacitor:
            h.color = ui.theme.caution;
            break;
        case tuning::Outcome::rejected:
            h.color = ui.theme.rejected;
            break;
        case tuning::Outcome::move_tap:
            h.color = ui.theme.ink;
            break;
    }
    if (result->outcome() == tuning::Outcome::move_tap) {
        for (const tuning::Line& line : tuning::tuning_lines(*outcome->request, *result->tuning, kWays)) {
            if (line.name == "tap") h.second.push_back(plus_minus(fmt::format("to {}: {}", line.value, line.remark)));
        }
    }
    if (result->tuning) h.small += ", " + result->tuning->taps.back().name;
    return draw_headline(ui, h, width, "readout");
}

void tuning_outcome_panel(const Ui& ui) {
    views(ui);
    if (!ui.s.tuning.outcome) return;
    switch (ui.s.tuning.view) {
        case TuningView::tap:
            return tap_view(ui);
        case TuningView::top_load:
            return top_load_view(ui);
        case TuningView::spark:
            return spark_view(ui);
    }
}

}  // namespace coldtune::gui
