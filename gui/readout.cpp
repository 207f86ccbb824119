// The large figures.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gui/headline.hpp"
#include "gui/panels.hpp"

namespace coldtune::gui {

float calculated_readout(const Ui& ui, float width) {
    const State& s = ui.s;
    Headline h;
    h.color = ui.theme.calculated;
    h.small = "Calculated resonance, grounded at the foot";
    if (s.bench.standing() == Standing::bare) h.small += ", top load off (step 2)";
    if (!s.calculation.value) {
        h.color = ui.theme.soft_ink;
        h.large = s.calculating ? "calculating ..." : "\u2013";
        if (!s.reading.complaints.empty()) h.second.push_back("Fields with a red edge cannot be read yet.");
        if (!s.calculation.complaint.empty()) h.second.push_back(s.calculation.complaint);
        return draw_headline(ui, h, width, "readout");
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
    return height;
}

namespace {

float live_readout(const Ui& ui, float width) {
    const Following& f = *ui.s.following;
    Headline h;
    const auto* r = f.latest->resonance();
    h.small = fmt::format("Live, {}{}", bench::describe(f.latest->hookup).name,
                          ui.s.bench.simulated() ? ", simulated bench" : "");
    if (r == nullptr) {
        h.color = verdict_color(ui.theme, f.latest->verdict());
        h.large = "nothing seen";
        h.second.push_back("What to do stands on the left.");
        return draw_headline(ui, h, width, "readout");
    }
    h.color = ui.theme.ink;
    if (r->way != measure::Way::in_band) h.small += fmt::format(" ({})", measure::way_name(r->way));
    std::tie(h.large, h.after) = split_figure(r->frequency_hz, r->frequency_u95_hz);
    if (const auto percent = f.latest->difference_percent()) h.second.push_back(difference_words(*percent));
    if (r->q) h.second.push_back(fmt::format("Q {:.0f}", *r->q));
    if (f.first_hz)
        h.second.push_back(fmt::format("{:+.2f} % since it began", 100 * (r->frequency_hz / *f.first_hz - 1)));
    return draw_headline(ui, h, width, "readout");
}

// Both circuits together: what couples them, large.
float pair_readout(const Ui& ui, const measure::Pair& p, const std::string& where, float width) {
    using record::format_with_uncertainty;
    using record::Unit;
    Headline h;
    h.color = ui.theme.ink;
    h.small = "Secondary and tank together, " + where;
    const std::string k = format_with_uncertainty(p.k, p.k_u95, Unit::none, true);
    const auto sign = k.find(" \u00b1 ");
    h.large = "k " + k.substr(0, sign);
    if (sign != std::string::npos) h.after = k.substr(sign + 1);
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
        const std::string k =
            record::format_with_uncertainty(accepted->coupling->k, accepted->coupling->k_u95, record::Unit::none, true);
        const auto sign = k.find(" \u00b1 ");
        h.large = "k " + k.substr(0, sign);
        if (sign != std::string::npos) h.after = k.substr(sign + 1);
        h.second.push_back("L " +
                           record::format_quantity(accepted->winding->inductance_h, record::Unit::henry, 4, true));
        return draw_headline(ui, h, width, "readout");
    }
    if (r == nullptr && accepted != nullptr && accepted->winding) {
        h.color = ui.theme.ink;
        h.small = "Inductance of the winding, " + where;
        std::tie(h.large, h.after) =
            split_figure(accepted->winding->inductance_h, accepted->winding->inductance_u95_h, record::Unit::henry);
        h.second.push_back("R " +
                           record::format_quantity(accepted->winding->resistance_ohm, record::Unit::ohm, 4, true));
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
    if (const auto percent = run->result.difference_percent()) h.second.push_back(difference_words(*percent));
    if (r->q)
        h.second.push_back(r->q_u95 ? "Q " + record::format_with_uncertainty(*r->q, *r->q_u95, record::Unit::none, true)
                                    : fmt::format("Q {:.0f}", *r->q));
    return draw_headline(ui, h, width, "readout");
}

}  // namespace coldtune::gui
