#include "analyzer/tuning/words.hpp"

#include <fmt/format.h>

#include <cmath>

#include "analyzer/measure/described_json.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::tuning {
namespace {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Unit;

std::string resonance_text(const measure::KnownResult& k) {
    return format_with_uncertainty(k.resonance->value, k.resonance->u95, Unit::hertz);
}

std::string per_cent(double relative, double u95) {
    return fmt::format("{}{} %", relative < 0 ? "" : "+",
                       format_with_uncertainty(100 * relative, 100 * u95, Unit::none));
}

std::string farads(const Capacitance& c) {
    return format_with_uncertainty(c.value_f, c.u95_f, Unit::farad);
}

std::string length_text(double metres) {
    return format_quantity(std::abs(metres), Unit::metre, 3);
}

void capacitor_lines(std::vector<Line>& out, const CapacitorChange& c, double u95_relative) {
    const std::string needed = format_with_uncertainty(c.needed_f, u95_relative * c.needed_f, Unit::farad) + " in all";
    if (c.series_f) {
        out.push_back(
            {"or capacitor", needed, format_quantity(*c.series_f, Unit::farad, 3) + " in series with the present one"});
        return;
    }
    out.push_back({"or capacitor", needed, format_quantity(c.change_f, Unit::farad, 3) + " more in parallel"});
    if (c.preferred_f) {
        out.push_back({"", format_quantity(*c.preferred_f, Unit::farad, 2) + " in parallel",
                       "gives " + format_quantity(*c.preferred_hz, Unit::hertz)});
    }
    out.push_back({"", "any added capacitor must stand the tank's full voltage and current", ""});
}

void reach_lines(std::vector<Line>& out, const Tuning& t) {
    out.push_back({"in reach",
                   fmt::format("{} to {}", format_with_uncertainty(t.lowest_hz, t.lowest_u95_hz, Unit::hertz),
                               format_with_uncertainty(t.highest_hz, t.highest_u95_hz, Unit::hertz)),
                   "all of the primary to one turn"});
    if (!t.out_of_reach) return;
    const OutOfReach& o = *t.out_of_reach;
    out.push_back({"out of reach", fmt::format("{:.2g} % {} that", 100 * o.by_relative, o.too_low ? "below" : "above"),
                   fmt::format("{} in the tank would reach it with {}", format_quantity(o.capacitance_f, Unit::farad),
                               o.too_low ? "the whole primary" : "one turn")});
    if (o.turns_needed) out.push_back({"", fmt::format("or a primary of {:.1f} turns", *o.turns_needed), ""});
}

}  // namespace

std::vector<Line> compare_lines(const CompareRequest& request, const CompareResult& c, const Ways& ways) {
    std::vector<Line> out;
    const bool loaded_both = c.bare.described && !c.bare.described->topload.empty();
    out.push_back(
        {loaded_both ? "higher" : "without", resonance_text(c.bare), fmt::format("{}, {}", c.bare.way, c.bare.name)});
    out.push_back(
        {loaded_both ? "lower" : "with", resonance_text(c.loaded), fmt::format("{}, {}", c.loaded.way, c.loaded.name)});
    if (c.shift) {
        out.push_back({"shift", format_with_uncertainty(c.shift->shift_hz, c.shift->shift_u95_hz, Unit::hertz),
                       per_cent(c.shift->relative, c.shift->relative_u95) + ", 95 %"});
    } else {
        out.push_back({"shift", "nothing: the comparison is rejected", ""});
    }
    if (c.added) {
        out.push_back({"added", farads(*c.added), "measured: from head to return, with the same shift; 95 %"});
        out.push_back({"",
                       c.inductance_measured
                           ? std::string("with the measured inductance of the winding")
                           : fmt::format("with the described inductance: measure it (winding, loading){}{}",
                                         ways.give_inductance.empty() ? "" : " and ", ways.give_inductance),
                       ""});
    } else if (c.shift && !request.coil) {
        out.push_back({"added", "not told",
                       fmt::format("inductance and spread of the winding must be known{}{}",
                                   ways.give_coil.empty() ? "" : ": ", ways.give_coil)});
    }
    if (c.calculated) {
        out.push_back({"calculated", farads(*c.calculated), "the same from the dimensions, in place"});
        if (const auto percent = c.difference_percent())
            out.push_back({"difference", fmt::format("{:+.2g} %", *percent), ""});
        out.push_back({"alone in space", format_quantity(*c.isolated_f, Unit::farad),
                       "winding and top load shield one another: not to be compared"});
    }
    if (c.instead) {
        out.push_back({"instead",
                       format_with_uncertainty(c.instead->frequency_hz, c.instead->frequency_u95_hz, Unit::hertz),
                       fmt::format("predicted from the measured coil with {}",
                                   measure::topload_name(request.instead->coil.topload))});
    }
    return out;
}

std::string verdict_text(const TuneResult& result) {
    if (!result.tuning) return "rejected: the measurements do not belong together";
    const Tuning& t = *result.tuning;
    switch (result.outcome()) {
        case Outcome::tuned:
            return fmt::format("tuned within {:.2g} %", 100 * t.tuned_within);
        case Outcome::undecided:
            return fmt::format(
                "undecided: within {:.2g} % of the target, but known only to +- {:.2g} %; measure better "
                "before moving the tap",
                100 * t.tuned_within, 100 * t.mismatch.u95);
        case Outcome::move_tap:
            return fmt::format("move the tap {} by {:.2f} turns ({} along the conductor)",
                               t.advice->move_turns < 0 ? "in" : "out", std::abs(t.advice->move_turns),
                               length_text(t.advice->move_m));
        case Outcome::change_capacitor:
            return "no tap reaches the target: change the capacitor";
        case Outcome::rejected:
            break;
    }
    return "rejected";
}

std::string place_of_tap(const TapAdvice& advice) {
    return fmt::format("{} along the conductor {} turn mark {}",
                       format_with_uncertainty(std::abs(advice.past_mark_m), advice.along_u95_m, Unit::metre),
                       advice.past_mark_m < 0 ? "before" : "past", advice.mark);
}

std::vector<Line> tuning_lines(const TuneRequest& request, const Tuning& t, const Ways& ways) {
    std::vector<Line> out;
    out.push_back({"target", format_with_uncertainty(t.target_hz.value, t.target_hz.u95, Unit::hertz),
                   fmt::format("{:.3g} % below, for spark loading ({}{}{})", 100 * request.allowance,
                               request.allowance == kDefaultAllowance ? "common practice, no source" : "as stated",
                               ways.set_allowance.empty() ? "" : "; ", ways.set_allowance)});
    const auto& present = t.taps.back();
    out.push_back(
        {"tank", format_with_uncertainty(t.tank_hz.value, t.tank_hz.u95, Unit::hertz),
         fmt::format("tap at {:.4g} turns, {}", t.tank_turns,
                     present.inductance ? "from its inductance, capacitor and leads as described" : "as it stands")});
    out.push_back({"difference", per_cent(t.mismatch.value, t.mismatch.u95), "tank against target"});
    out.push_back({"primary", fmt::format("{:.4g} times the calculated inductance", t.scale),
                   fmt::format("leads {}", format_with_uncertainty(t.leads_h.value, t.leads_h.u95, Unit::henry))});
    if (t.taps.size() > 1) {
        for (const auto& tap : t.taps) {
            out.push_back({"  measured",
                           fmt::format("{:.4g} turns  {}", tap.turns,
                                       format_with_uncertainty(tap.measured.value, tap.measured.u95,
                                                               tap.inductance ? Unit::henry : Unit::hertz)),
                           fmt::format("{:+.3f} % from the fit, {}", 100 * tap.residual, tap.name)});
        }
    }
    if (t.advice) {
        out.push_back({"tap",
                       format_with_uncertainty(t.advice->turns.value, t.advice->turns.u95, Unit::none) + " turns",
                       place_of_tap(*t.advice)});
    }
    reach_lines(out, t);
    capacitor_lines(out, t.capacitor, t.capacitor_u95_relative);
    return out;
}

}  // namespace coldtune::tuning
