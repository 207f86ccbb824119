// The large figures.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gui/coil_words.hpp"
#include "gui/headline.hpp"
#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

// Of the fields, and of the calculation where they can be read.
std::vector<FieldComplaint> all_complaints(const State& s) {
    std::vector<FieldComplaint> all = complaint_lines(s.coil, s.reading);
    if (s.calculation.complaint.empty()) return all;
    FieldComplaint c = complaint_in_words(s.coil, s.calculation.complaint);
    if (!c.key.empty()) c.text = field_words(c.key) + ": " + c.text;
    all.push_back(std::move(c));
    return all;
}

}  // namespace

float calculated_readout(const Ui& ui, float width) {
    const State& s = ui.s;
    Headline h;
    h.color = ui.theme.calculated;
    h.small = "Calculated resonance, grounded at the foot";
    if (s.bench.standing() == Standing::bare) h.small += ", top load off (step 2)";
    // As high as it was when there was a figure: what stands beneath is not to move under the pointer.
    float* usual = ImGui::GetStateStorage()->GetFloatRef(ImGui::GetID("readout.usual"), 0);
    if (!s.calculation.value) {
        h.color = ui.theme.soft_ink;
        h.large = s.calculating ? "calculating ..." : "\u2013";
        const float head = draw_headline(ui, h, width, "readout");
        const float spacing = ImGui::GetStyle().ItemSpacing.y;
        const float rest = std::max(*usual - head - spacing, 2 * ImGui::GetTextLineHeightWithSpacing());
        ImGui::BeginChild("readout.complaints", {width, rest});
        for (const FieldComplaint& c : all_complaints(s)) complaint_line(ui, c.key, c.text);
        ImGui::EndChild();
        return head + rest + spacing;
    }
    const model::Calculated& c = *s.calculation.value;
    std::tie(h.large, h.after) = split_figure(c.frequency_hz, c.frequency_u95_hz);
    using record::format_quantity;
    using record::Unit;
    h.second.push_back("L " + format_quantity(c.inductance_h, Unit::henry, 4, true));
    h.second.push_back("C " + format_quantity(c.capacitance_f, Unit::farad, 4, true));
    h.second.push_back(fmt::format("Q at most {:.0f}", c.q));
    h.second.push_back("wire " + format_quantity(c.wire_length_m, Unit::metre, 4, true));
    float height = draw_headline(ui, h, width, "readout");
    const float top = ImGui::GetCursorScreenPos().y;
    // A line is kept free for the advice, so that nothing jumps when it comes.
    paragraph(ui, !s.calculation.advice.empty() ? sentence(s.calculation.advice) : std::string(" "));
    const bool loaded = s.reading.coil && !s.reading.coil->topload.empty() && s.bench.standing() != Standing::bare;
    soft(ui, fmt::format("Handbook's second opinion (current sheet and Medhurst{}): {}",
                         loaded ? ", top load as if alone: reads low" : "",
                         record::format_quantity(c.handbook.frequency_hz, Unit::hertz, 4, true)));
    height += ImGui::GetCursorScreenPos().y - top;
    *usual = height;
    return height;
}

namespace {

// Why there is no Q beside a frequency.
constexpr const char* kNoQ = "no Q: the peak lies above the band";

float live_readout(const Ui& ui, float width) {
    const Following& f = *ui.s.following;
    Headline h;
    const auto* r = f.latest->resonance();
    h.small = fmt::format("Live{}, {}{}", r == nullptr ? "" : fmt::format(" ({})", measure::way_name(r->way)),
                          bench::describe(f.latest->hookup).name, ui.s.bench.simulated() ? ", simulated bench" : "");
    if (r == nullptr) {
        h.color = verdict_color(ui.theme, f.latest->verdict());
        h.large = "nothing seen";
        h.second.push_back("What to do stands on the left.");
        return draw_headline(ui, h, width, "readout");
    }
    h.color = ui.theme.ink;
    std::tie(h.large, h.after) = split_figure(r->frequency_hz, r->frequency_u95_hz);
    if (auto words = difference_from_calculated(*f.latest)) h.second.push_back(std::move(*words));
    if (r->q) h.second.push_back(q_words(*r));
    if (f.first_hz) {
        h.second.push_back(signed_fixed(100 * (r->frequency_hz / *f.first_hz - 1), 2) + " % since it began");
    }
    return draw_headline(ui, h, width, "readout");
}

// Both circuits together: what couples them, large.
float pair_readout(const Ui& ui, const measure::Pair& p, const std::string& where, float width) {
    Headline h;
    h.color = ui.theme.ink;
    h.small = "Secondary and tank together, " + where;
    std::tie(h.large, h.after) = split_figure(p.k, p.k_u95, record::Unit::none);
    h.large = "k " + h.large;
    h.second = {"tank " + hertz_with(p.primary_frequency_hz, p.primary_frequency_u95_hz),
                "secondary " + hertz_with(p.secondary_frequency_hz, p.secondary_frequency_u95_hz),
                fmt::format("the {} peak is the stronger", p.lower_is_stronger() ? "lower" : "upper")};
    return draw_headline(ui, h, width, "readout");
}

}  // namespace

float measured_readout(const Ui& ui, float width) {
    const State& s = ui.s;
    Headline h;
    if (s.live()) return live_readout(ui, width);
    const Run* run = s.selected();
    if (run == nullptr) {
        h.color = ui.theme.soft_ink;
        h.small = "Nothing measured yet";
        h.large = s.busy() ? "sweeping ..." : "ready";
        h.second.push_back(s.busy() ? s.progress.what : std::string("Press the space bar to sweep."));
        return draw_headline(ui, h, width, "readout");
    }
    const auto* r = run->result.resonance();
    const auto* accepted = std::get_if<measure::Accepted>(&run->result.outcome);
    const bool practice = run->device == kSimulated;
    const std::string where = fmt::format("{}, {}{}", run->name, bench::describe(run->result.hookup).name,
                                          practice ? ", simulated bench" : "");
    if (const measure::Pair* p = run->result.pair()) return pair_readout(ui, *p, where, width);
    if (accepted != nullptr && accepted->coupling) {
        h.color = ui.theme.ink;
        h.small = "Coupling of a uniform current, " + where;
        std::tie(h.large, h.after) = split_figure(accepted->coupling->k, accepted->coupling->k_u95, record::Unit::none);
        h.large = "k " + h.large;
        h.second.push_back("L " + record::format_with_uncertainty(accepted->winding->inductance_h,
                                                                  accepted->winding->inductance_u95_h,
                                                                  record::Unit::henry, true));
        return draw_headline(ui, h, width, "readout");
    }
    if (r == nullptr && accepted != nullptr && accepted->winding) {
        h.color = ui.theme.ink;
        h.small = "Inductance of the winding, " + where;
        std::tie(h.large, h.after) =
            split_figure(accepted->winding->inductance_h, accepted->winding->inductance_u95_h, record::Unit::henry);
        h.second.push_back("R " + record::format_with_uncertainty(accepted->winding->resistance_ohm,
                                                                  accepted->winding->resistance_u95_ohm,
                                                                  record::Unit::ohm, true));
        return draw_headline(ui, h, width, "readout");
    }
    if (r == nullptr) {
        // A rejected measurement has no number to show.
        h.color = verdict_color(ui.theme, run->result.verdict());
        h.small = where;
        h.large = run->result.verdict() == measure::Verdict::rejected ? "rejected" : "no resonance";
        h.second.push_back("What to do stands on the left.");
        return draw_headline(ui, h, width, "readout");
    }
    h.color = ui.theme.ink;
    const std::string way(measure::way_name(r->way));
    h.small = fmt::format("Measured ({}), {}", way, where);
    std::tie(h.large, h.after) = split_figure(r->frequency_hz, r->frequency_u95_hz);
    if (auto words = difference_from_calculated(run->result)) h.second.push_back(std::move(*words));
    if (!r->q && r->way == measure::Way::below_band) h.second.emplace_back(kNoQ);
    if (r->q) h.second.push_back(q_words(*r));
    return draw_headline(ui, h, width, "readout");
}

}  // namespace coldtune::gui
