// Step 3: open, short, load: what is taken, how old it is, what each would improve.
#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "gui/panels.hpp"
#include "gui/pictures.hpp"

namespace coldtune::gui {
namespace {

using bench::Hookup;

struct StandardText {
    Hookup hookup;
    std::string_view title;
    std::string_view how;
    std::string_view improves;
};
constexpr std::array<StandardText, 3> kTexts = {{
    {Hookup::open, "Open", "Leave the clip where the foot is, touching nothing.",
     "Takes out the cable and the input: the one that matters most, and for a resonance above the band it is needed."},
    {Hookup::short_circuit, "Short", "Put the clip on the return.",
     "Takes out the lead, and what input 1 leaks into input 2: matters for winding and tank, and at the foot of a coil "
     "of few ohms."},
    {Hookup::load, "Load", "Put the known resistor between clip and return.",
     "Takes out the gains of the two inputs and the tolerance of the reference resistor: sharpens Q and resistance."},
}};

Hookup next_missing(const State& s) {
    for (const StandardText& t : kTexts) {
        if (!s.standards.contains(t.hookup)) return t.hookup;
    }
    return Hookup::open;
}

// What stands against using it for the bench as it is set now; empty = nothing.
std::string stale_words(const State& s, const StandardTaken& taken) {
    if (taken.device != s.bench.device) return "Taken on another interface: not used now.";
    if (taken.sample_rate_hz != s.bench.sample_rate_hz) return "Taken at another sample rate: not used now.";
    const auto& settings = s.bench_reading.settings;
    if (settings && settings->bench.reference_ohm != taken.reference_ohm) {
        return "Taken with another reference resistor: take it again.";
    }
    return {};
}

// What taking it now would do to the selected run, in figures; empty where it would do nothing or nobody knows.
std::string gain_words(const State& s, Hookup standard) {
    const Run* run = s.selected();
    const auto* r = run != nullptr ? run->result.resonance() : nullptr;
    if (r == nullptr) return {};
    const auto gain = std::find_if(run->gains.begin(), run->gains.end(),
                                   [&](const measure::StandardGain& g) { return g.standard == standard; });
    if (gain == run->gains.end()) return {};
    // A load without the open standard can even widen the interval; then there is nothing to promote.
    if (gain->frequency_u95_hz > 1.02 * r->frequency_u95_hz) {
        return "Take the open standard first: alone it would widen the interval of the resonance.";
    }
    std::string words = fmt::format("{} would go from \u00b1{} to \u00b1{}", run->name, hertz(r->frequency_u95_hz, 2),
                                    hertz(gain->frequency_u95_hz, 2));
    if (r->q_u95 && gain->q_u95) {
        words += fmt::format(", its Q from \u00b1{:.2g} to \u00b1{:.2g}", *r->q_u95, *gain->q_u95);
    }
    return words + ".";
}

void one(const Ui& ui, const StandardText& text) {
    const State& s = ui.s;
    const std::string name(bench::describe(text.hookup).name);
    const auto taken = s.standards.find(text.hookup);
    const bool have = taken != s.standards.end();
    heading(ui, text.title);
    paragraph(ui, text.how);
    soft(ui, text.improves);
    if (const std::string gain = gain_words(s, text.hookup); !gain.empty()) {
        paragraph(ui, gain);
        ui.mark("gain." + name);
    }
    if (have) {
        const std::string stale = stale_words(s, taken->second);
        const auto verdict = taken->second.result.verdict();
        paragraph(ui, fmt::format("Taken {}, {}.", age_words(taken->second.time, Clock::now()), verdict_words(verdict)),
                  verdict_color(ui.theme, verdict));
        if (taken->second.returned) {
            soft(ui,
                 "From an earlier session: good as long as the leads lie as they lay then. If they were moved, "
                 "take it again.");
            ui.mark("standard.returned." + name);
        }
        if (!stale.empty()) paragraph(ui, stale, ui.theme.caution);
    }
    const bool running = s.progress.task == Task::sweep && s.progress.hookup == text.hookup;
    const bool next = next_missing(s) == text.hookup && !have;
    const std::string label = running ? "Stop" : have ? "Take again" : "Take it";
    if (button(ui, "standard." + name, label, next || running ? ButtonKind::primary : ButtonKind::ordinary, 0,
               running || !s.busy())) {
        ui.ask(running ? action(Do::stop) : action(Do::take_standard, name));
    }
    if (have) {
        ImGui::SameLine();
        if (button(ui, "standard.drop." + name, "Forget", ButtonKind::quiet, 0, !s.busy())) {
            ui.ask(action(Do::drop_standard, name));
        }
        findings_list(ui, taken->second.result.findings);
    }
    if (running) {
        ImGui::ProgressBar(static_cast<float>(s.progress.fraction), {-1, ui.px(8)}, "");
    }
    gap(ui, 12);
}

}  // namespace

void standards_panel(const Ui& ui) {
    soft(ui,
         "Three sweeps without the coil, with the leads as they will lie. Any of them may be left out; the "
         "uncertainty grows.");
    gap(ui, 6);
    for (const StandardText& t : kTexts) one(ui, t);
    if (!ui.s.complaint.empty()) paragraph(ui, ui.s.complaint, ui.theme.rejected);
}

void standards_picture_panel(const Ui& ui, Rect area) {
    const Hookup shown =
        ui.s.busy() && !bench::seeks_resonance(ui.s.progress.hookup) ? ui.s.progress.hookup : next_missing(ui.s);
    ImguiCanvas canvas = canvas_here(ui);
    canvas.rectangle(area, ui.theme.panel, ui.px(6));
    ui.mark("picture", area);
    const Rect inside = area.inset(ui.px(22));
    const bool all = ui.s.standards.size() >= kTexts.size();
    const std::string title = all ? std::string("All three are taken. To take one again:")
                                  : fmt::format("Next: the {} standard", bench::describe(shown).name);
    canvas.text({inside.left, inside.top}, title, {ui.theme.ink, ui.fonts.title->FontSize, Weight::strong});
    const float top = inside.top + ui.fonts.title->FontSize * 1.8F;
    canvas.clip(area);
    draw_wiring(canvas, wiring_area({inside.left, top, inside.right, inside.bottom}), shown, wiring_names(ui.s.bench),
                ui.theme, ui.scale);
    canvas.unclip();
}

}  // namespace coldtune::gui
