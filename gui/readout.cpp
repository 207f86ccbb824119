// The large figures.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "gui/panels.hpp"

namespace coldtune::gui {
namespace {

struct Headline {
    std::string small;  // what it is
    std::string large;  // the figure
    std::string after;  // its half-width
    std::vector<std::string> second;
    Color color;
};

// Draws the headline as large as the width allows, up to the readout font.
float draw(const Ui& ui, const Headline& h, float width, const std::string& name) {
    const ImVec2 at = ImGui::GetCursorScreenPos();
    ImguiCanvas figures(*ImGui::GetWindowDrawList(), ui.fonts, ui.fonts.readout->FontSize);
    const float full = ui.fonts.readout->FontSize;
    const auto widths = [&](float size) {
        return figures.extent(h.large, size, Weight::strong).x +
               (h.after.empty() ? 0 : size * 0.22F + figures.extent(h.after, size * 0.5F, Weight::strong).x);
    };
    float size = full;
    while (size > full * 0.4F && widths(size) > width) size *= 0.94F;

    float y = at.y;
    soft(ui, h.small);
    y = ImGui::GetCursorScreenPos().y - ImGui::GetStyle().ItemSpacing.y;
    figures.text({at.x, y}, h.large, {h.color, size, Weight::strong});
    if (!h.after.empty()) {
        // On the same base line: a line of Open Sans stands 0.78 of its height above it.
        const float x = at.x + figures.extent(h.large, size, Weight::strong).x + size * 0.22F;
        figures.text({x, y + size * 0.5F * 0.78F}, h.after, {h.color, size * 0.5F, Weight::strong});
    }
    y += size * 1.04F;
    ImGui::SetCursorScreenPos({at.x, y});
    ImGui::PushFont(ui.fonts.title);
    // Facts side by side where they fit, beneath one another where not.
    float x = 0;
    for (std::size_t k = 0; k < h.second.size(); ++k) {
        const float wide = ImGui::CalcTextSize(h.second[k].c_str()).x;
        if (k > 0 && x + ui.px(28) + wide <= width) {
            ImGui::SameLine(0, ui.px(28));
            x += ui.px(28) + wide;
        } else {
            x = wide;
        }
        if (wide > width) ImGui::PushFont(ui.fonts.body);
        paragraph(ui, h.second[k]);
        if (wide > width) ImGui::PopFont();
    }
    ImGui::PopFont();
    const float bottom = ImGui::GetCursorScreenPos().y;
    ui.mark(name, {at.x, at.y, at.x + width, bottom});
    return bottom - at.y;
}

// "63.410 +- 0.012 kHz" taken apart: figure and unit large, half-width beside it.
std::pair<std::string, std::string> split(double value, double half_width) {
    const std::string text = hertz_with(value, half_width);
    const auto sign = text.find(" \u00b1 ");
    const auto unit = text.rfind(' ');
    if (sign == std::string::npos || unit == std::string::npos || unit <= sign) return {text, {}};
    return {text.substr(0, sign) + text.substr(unit), "\u00b1 " + text.substr(sign + 4, unit - sign - 4)};
}

}  // namespace

float calculated_readout(const Ui& ui, float width) {
    const State& s = ui.s;
    Headline h;
    h.color = ui.theme.calculated;
    h.small = "Calculated resonance, grounded at the foot";
    if (!s.calculation.value) {
        h.color = ui.theme.soft_ink;
        h.large = s.calculating ? "calculating ..." : "\u2013";
        if (!s.reading.complaints.empty()) h.second.push_back("Fields with a red edge cannot be read yet.");
        if (!s.calculation.complaint.empty()) h.second.push_back(s.calculation.complaint);
        return draw(ui, h, width, "readout");
    }
    const model::Calculated& c = *s.calculation.value;
    std::tie(h.large, h.after) = split(c.frequency_hz, c.frequency_u95_hz);
    using record::format_quantity;
    using record::Unit;
    h.second.push_back("L " + format_quantity(c.inductance_h, Unit::henry, 4, true));
    h.second.push_back("C " + format_quantity(c.capacitance_f, Unit::farad, 4, true));
    h.second.push_back(fmt::format("Q at most {:.0f}", c.q));
    h.second.push_back("wire " + format_quantity(c.wire_length_m, Unit::metre, 4, true));
    float height = draw(ui, h, width, "readout");
    const float top = ImGui::GetCursorScreenPos().y;
    // A line is kept free for the advice, so that nothing jumps when it comes.
    paragraph(ui, !s.calculation.advice.empty() ? sentence(s.calculation.advice) : std::string(" "));
    soft(ui, fmt::format("Handbook's second opinion (current sheet and Medhurst): {}",
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
        return draw(ui, h, width, "readout");
    }
    h.color = ui.theme.ink;
    if (r->way != measure::Way::in_band) h.small += fmt::format(" ({})", measure::way_name(r->way));
    std::tie(h.large, h.after) = split(r->frequency_hz, r->frequency_u95_hz);
    if (const auto percent = f.latest->difference_percent()) h.second.push_back(difference_words(*percent));
    if (r->q) h.second.push_back(fmt::format("Q {:.0f}", *r->q));
    if (f.first_hz)
        h.second.push_back(fmt::format("{:+.2f} % since it began", 100 * (r->frequency_hz / *f.first_hz - 1)));
    return draw(ui, h, width, "readout");
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
        return draw(ui, h, width, "readout");
    }
    const auto* r = run->result.resonance();
    const bool practice = run->device == kSimulated;
    const std::string where = fmt::format("{}, {}{}", run->name, bench::describe(run->result.hookup).name,
                                          practice ? ", simulated bench" : "");
    if (r == nullptr) {
        // A rejected measurement has no number to show.
        h.color = verdict_color(ui.theme, run->result.verdict());
        h.small = where;
        h.large = run->result.verdict() == measure::Verdict::rejected ? "rejected" : "no resonance";
        h.second.push_back("What to do stands on the left.");
        return draw(ui, h, width, "readout");
    }
    h.color = ui.theme.ink;
    const std::string way(measure::way_name(r->way));
    h.small = fmt::format("Measured ({}), {}", way, where);
    std::tie(h.large, h.after) = split(r->frequency_hz, r->frequency_u95_hz);
    if (const auto percent = run->result.difference_percent()) h.second.push_back(difference_words(*percent));
    if (r->q)
        h.second.push_back(r->q_u95 ? "Q " + record::format_with_uncertainty(*r->q, *r->q_u95, record::Unit::none, true)
                                    : fmt::format("Q {:.0f}", *r->q));
    const auto* accepted = std::get_if<measure::Accepted>(&run->result.outcome);
    if (accepted != nullptr && accepted->winding) {
        h.second.push_back("L " +
                           record::format_quantity(accepted->winding->inductance_h, record::Unit::henry, 4, true));
    }
    return draw(ui, h, width, "readout");
}

}  // namespace coldtune::gui
