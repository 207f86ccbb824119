// Step 5, left: the road from a bare coil to a verified tune, what is done of it and what stands in each place.
#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

using tuning::Step;

// What it was, short enough for a closed list.
std::string short_words(const Run& run) {
    const auto* r = run.result.resonance();
    if (const measure::Pair* p = run.result.pair()) return fmt::format("{}   k {:.3f}", run.name, p->k);
    return fmt::format("{}   {}", run.name, r != nullptr ? hertz(r->frequency_hz, 5) : run_figure(run.result));
}

// In the open list there is room to tell it from its like.
std::string run_words(const Run& run) {
    std::string words =
        fmt::format("{}   {}   {:%H:%M}", run.name, run_figure(run.result), fmt::localtime(Clock::to_time_t(run.time)));
    if (!run.note.empty()) words += "   " + run.note;
    return words;
}

// The path of a kept result, until it is taken.
void file_field(const Ui& ui, const std::string& key) {
    std::string& path = ui.typing[key];
    text_field(ui, "place.path." + key, "folder/RESULT.json", path, -1);
    if (button(ui, "place.take." + key, "Take it", ButtonKind::ordinary, 0, !path.empty())) {
        ui.ask({Do::place_file, key, path, 0, false});
        ui.typing.erase(key);
        return;
    }
    ImGui::SameLine();
    if (button(ui, "place.leave." + key, "Leave it", ButtonKind::quiet)) ui.typing.erase(key);
}

// What stands in a place, and what else could.
void place_choice(const Ui& ui, const std::string& key, std::string_view label) {
    const State& s = ui.s;
    const Evidence* now = evidence_at(s.tuning.form, key);
    std::vector<std::string> names{now != nullptr ? "Nothing" : "Nothing yet"};
    std::vector<int> runs{0};
    int chosen = now == nullptr ? 0 : -1;
    for (auto run = s.runs.rbegin(); run != s.runs.rend(); ++run) {
        if (!fits(key, run->result)) continue;
        const bool stands = now != nullptr && now->written == run->written;
        if (stands) chosen = static_cast<int>(names.size());
        names.push_back(stands ? short_words(*run) : run_words(*run));
        runs.push_back(run->id);
    }
    if (chosen < 0) {
        // Of another day, of a deleted run, or a file.
        chosen = static_cast<int>(names.size());
        const auto& outcome = s.tuning.outcome;
        std::string words = now->name;
        if (outcome && outcome->figures.contains(key)) words += "   " + outcome->figures.find(key)->second;
        // Last: where room ends, the figure is still there.
        if (!now->when.empty()) words += "   " + now->when;
        names.push_back(words);
        runs.push_back(-1);
    }
    names.emplace_back("A kept result ...");
    const int picked = choice(ui, "place." + key, label, names, chosen, true);
    if (picked >= 0 && picked != chosen) {
        if (static_cast<std::size_t>(picked) + 1 == names.size()) {
            ui.typing[key] = now != nullptr && now->is_file() ? now->name : std::string();
        } else if (picked == 0) {
            ui.ask({Do::place_nothing, key, {}, 0, false});
        } else if (runs[static_cast<std::size_t>(picked)] >= 0) {
            ui.ask({Do::place_run, key, {}, static_cast<double>(runs[static_cast<std::size_t>(picked)]), true});
        }
    }
    if (ui.typing.contains(key)) file_field(ui, key);
    const auto& outcome = s.tuning.outcome;
    if (!outcome) return;
    const auto complaint = outcome->complaints.find(key);
    if (complaint != outcome->complaints.end()) finding(ui, measure::Weight::caution, complaint->second);
}

void measure_button(const Ui& ui, std::string_view place, std::string_view label) {
    if (button(ui, "measure." + std::string(place), label, ButtonKind::quiet, 0, !ui.s.busy())) {
        ui.ask(action(Do::measure_place, std::string(place)));
    }
}

void typed(const Ui& ui, const FieldSpec& spec, const std::string& field, const std::string& value) {
    const auto& complaints = ui.s.tuning.reading.complaints;
    const auto wrong = complaints.find(field);
    quantity_field(ui, spec, "tuning." + field, value, wrong == complaints.end() ? nullptr : &wrong->second, true);
}

void taps(const Ui& ui, std::size_t from, std::size_t to) {
    const TuningForm& form = ui.s.tuning.form;
    const auto& outcome = ui.s.tuning.outcome;
    for (std::size_t k = from; k < std::min(to, form.taps.size()); ++k) {
        const std::string key = fmt::format("tap.{}", k);
        const bool last = k + 1 == form.taps.size();
        place_choice(ui, key, last ? "Stands now at" : "Measured at");
        static constexpr FieldSpec kTurns{
            "tap", "Turns to the tap", "Counted from the inner end.", record::Unit::turn, true, 0, 0};
        std::string turns = form.taps[k].turns;
        const bool read_off = turns.empty() && outcome && k < outcome->tap_turns.size() && outcome->tap_turns[k] > 0;
        if (read_off) turns = fmt::format("{:.6g}", outcome->tap_turns[k]);
        typed(ui, kTurns, key, turns);
        if (!last &&
            button(ui, "tap.here." + std::to_string(k), "The tank stands at this one now", ButtonKind::quiet)) {
            ui.ask({Do::tap_stands_here, key, {}, 0, false});
        }
    }
}

// A new tap is chosen by what is put there.
void further_tap(const Ui& ui) {
    place_choice(ui, std::string(place::new_tap), ui.s.tuning.form.taps.empty() ? "Measured at" : "One more");
}

void state_mark(const Ui& ui, const Step& step, std::size_t number, Point centre) {
    ImguiCanvas canvas = canvas_here(ui);
    const float radius = ui.px(10);
    const auto tick = [&](Color color) {
        const float s = radius * 0.45F;
        const std::array<Point, 3> line{Point{centre.x - s, centre.y}, Point{centre.x - s * 0.2F, centre.y + s * 0.8F},
                                        Point{centre.x + s * 1.1F, centre.y - s * 0.8F}};
        canvas.polyline(line, color, ui.px(2.2F));
    };
    const Color color = step.state == Step::State::done    ? ui.theme.good
                        : step.state == Step::State::again ? ui.theme.caution
                                                           : ui.theme.soft_ink;
    canvas.ring(centre, radius, color, ui.px(1.5F));
    if (step.state == Step::State::done) return tick(color);
    canvas.text(centre, step.state == Step::State::again ? std::string("!") : std::to_string(number),
                {color, 0, Weight::strong, Anchor::middle, Anchor::middle});
}

void set_tap(const Ui& ui) {
    const auto& outcome = ui.s.tuning.outcome;
    const auto* advice = outcome && outcome->tune && outcome->tune->tuning && outcome->tune->tuning->advice
                             ? &*outcome->tune->tuning->advice
                             : nullptr;
    if (advice == nullptr || outcome->tune->outcome() != tuning::Outcome::move_tap) return;
    if (button(ui, "tap.moved", fmt::format("It is at {:.2f} turns now   (G)", advice->turns.value),
               ButtonKind::ordinary, 0, !ui.s.busy())) {
        ui.ask(action(Do::tap_moved));
    }
    soft(ui, "Writes the tap into step 1 and wires for the tank, to be measured again.");
}

void places_of(const Ui& ui, const Step& step) {
    if (step.key == "describe") {
        if (step.state != Step::State::done && button(ui, "tuning.describe", "Go to step 1", ButtonKind::quiet)) {
            ui.ask(action(Do::go_coil));
        }
    } else if (step.key == "bare") {
        place_choice(ui, std::string(place::bare), "Measured as");
        measure_button(ui, place::bare, "Measure it");
    } else if (step.key == "secondary") {
        place_choice(ui, std::string(place::secondary), "Measured as");
        measure_button(ui, place::secondary, "Measure it");
    } else if (step.key == "tank") {
        taps(ui, 0, 1);
        if (ui.s.tuning.form.taps.empty()) further_tap(ui);
        measure_button(ui, place::new_tap, "Measure it");
    } else if (step.key == "second-tap") {
        taps(ui, 1, ui.s.tuning.form.taps.size());
        if (!ui.s.tuning.form.taps.empty()) further_tap(ui);
    } else if (step.key == "set-tap") {
        set_tap(ui);
    } else if (step.key == "before-power") {
        for (std::string_view line : bench::before_power_reminders()) bullet(ui, line);
        ui.mark("reminders");
    }
}

void sequence(const Ui& ui) {
    const auto& outcome = ui.s.tuning.outcome;
    if (!outcome) return;
    std::size_t number = 0;
    const float indent = ui.px(30);
    for (const Step& step : outcome->steps) {
        ++number;
        ImGui::PushID(static_cast<int>(number));
        const ImVec2 at = ImGui::GetCursorScreenPos();
        state_mark(ui, step, number, {at.x + ui.px(11), at.y + ImGui::GetTextLineHeight() * 0.55F});
        ImGui::Indent(indent);
        paragraph(ui, sentence(step.text), step.state == Step::State::done ? ui.theme.soft_ink : ui.theme.ink);
        ui.mark("sequence." + std::string(step.key));
        if (step.state == Step::State::worthwhile) soft(ui, "Not needed, but it sharpens the result.");
        if (step.state == Step::State::again) soft(ui, "Was done, and has to be done again: see what is said on it.");
        places_of(ui, step);
        ImGui::Unindent(indent);
        gap(ui, 8);
        ImGui::PopID();
    }
}

}  // namespace

void tuning_panel(const Ui& ui) {
    const State& s = ui.s;
    soft(ui,
         "All of it at line level: high-voltage side removed, tank capacitor discharged and shorted before a lead is "
         "clipped. What you measure finds its place by itself; it is remembered until another takes it.");
    gap(ui, 6);
    heading(ui, "Target");
    static constexpr FieldSpec kAllowance{
        "allowance", "Allowance", "How far below the secondary the tank is set.", record::Unit::ratio, false,
        0.0,         0.10};
    typed(ui, kAllowance, "allowance", s.tuning.form.allowance);
    soft(ui, "For the streamers, which load the top. 3 %: common practice, no source; every coil differs.");
    gap(ui, 6);
    heading(ui, "The way there");
    sequence(ui);
    heading(ui, "Worth having");
    soft(ui, "The winding's own inductance makes the capacitance of the top load good to a per cent or two.");
    place_choice(ui, std::string(place::inductance), "Inductance");
    measure_button(ui, place::inductance, "Measure it");
    soft(ui, "Secondary and tank together tell the coupling, and what the spark gap will do.");
    place_choice(ui, std::string(place::both), "Both together");
    measure_button(ui, place::both, "Measure them");
    soft(ui, "Or, with each circuit by itself, the winding once more with the primary shorted.");
    place_choice(ui, std::string(place::coupling), "Coupling");
    measure_button(ui, place::coupling, "Measure it");
}

}  // namespace coldtune::gui
