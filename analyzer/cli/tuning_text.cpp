#include "analyzer/cli/tuning_text.hpp"

#include <fmt/format.h>

#include <cmath>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/cli/frequency_axis.hpp"
#include "analyzer/measure/described_json.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/tuning/words.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Unit;
using tuning::Interval;
using tuning::Remark;

void row(std::string& out, std::string_view name, std::string_view value, std::string_view remark = {}) {
    out += fmt::format("  {:<16}{}{}{}\n", name, value, remark.empty() ? "" : "   ", remark);
}

std::string resonance_text(const measure::KnownResult& k) {
    return format_with_uncertainty(k.resonance->value, k.resonance->u95, Unit::hertz);
}

std::string per_cent(double relative, double u95) {
    return fmt::format("{}{} %", relative < 0 ? "" : "+",
                       format_with_uncertainty(100 * relative, 100 * u95, Unit::none));
}

std::string findings_text(const std::vector<Remark>& remarks) {
    std::string out;
    for (const Remark& r : remarks) out += fmt::format("  - {}\n      {}\n", r.code, r.text);
    return out;
}

std::string farads(const tuning::Capacitance& c) {
    return format_with_uncertainty(c.value_f, c.u95_f, Unit::farad);
}

void budget_rows(std::string& out, const char* head, const tuning::Capacitance& c) {
    out += fmt::format("  uncertainty of the {} capacitance (standard, k = 1)\n", head);
    for (const auto& line : c.budget)
        out += fmt::format("    {:<40} {:>12}\n", line.source, format_quantity(line.u_f, Unit::farad, 3));
}

void capacitor_rows(std::string& out, const tuning::CapacitorChange& c) {
    if (c.series_f) {
        row(out, "or capacitor", fmt::format("{} in all", format_quantity(c.needed_f, Unit::farad)),
            fmt::format("{} in series with the present one", format_quantity(*c.series_f, Unit::farad, 3)));
        return;
    }
    row(out, "or capacitor", fmt::format("{} in all", format_quantity(c.needed_f, Unit::farad)),
        fmt::format("{} more in parallel", format_quantity(c.change_f, Unit::farad, 3)));
    if (c.preferred_f) {
        row(out, "", fmt::format("{} in parallel", format_quantity(*c.preferred_f, Unit::farad, 2)),
            fmt::format("gives {}", format_quantity(*c.preferred_hz, Unit::hertz)));
    }
    row(out, "", "any added capacitor must stand the tank's full voltage and current");
}

void reach_rows(std::string& out, const tuning::Tuning& t) {
    row(out, "in reach",
        fmt::format("{} to {}", format_quantity(t.lowest_hz, Unit::hertz), format_quantity(t.highest_hz, Unit::hertz)),
        "all of the primary to one turn");
    if (!t.out_of_reach) return;
    const tuning::OutOfReach& o = *t.out_of_reach;
    row(out, "out of reach", fmt::format("{:.2g} % {} that", 100 * o.by_relative, o.too_low ? "below" : "above"),
        fmt::format("{} in the tank would reach it with {}", format_quantity(o.capacitance_f, Unit::farad),
                    o.too_low ? "the whole primary" : "one turn"));
    if (o.turns_needed) row(out, "", fmt::format("or a primary of {:.1f} turns", *o.turns_needed));
}

void tuning_rows(std::string& out, const tuning::TuneRequest& request, const tuning::Tuning& t) {
    row(out, "target", format_with_uncertainty(t.target_hz.value, t.target_hz.u95, Unit::hertz),
        fmt::format("{:.3g} % below, for spark loading (common practice, no source; --allowance)",
                    100 * request.allowance));
    const auto& present = t.taps.back();
    row(out, "tank", format_with_uncertainty(t.tank_hz.value, t.tank_hz.u95, Unit::hertz),
        fmt::format("tap at {:.4g} turns, {}", t.tank_turns,
                    present.inductance ? "from its inductance, capacitor and leads as described" : "as it stands"));
    row(out, "difference", per_cent(t.mismatch.value, t.mismatch.u95), "tank against target");
    row(out, "primary", fmt::format("{:.4g} times the calculated inductance", t.scale),
        fmt::format("leads {}", format_with_uncertainty(t.leads_h.value, t.leads_h.u95, Unit::henry)));
    if (t.taps.size() > 1) {
        for (const auto& tap : t.taps) {
            row(out, "  measured",
                fmt::format("{:.4g} turns  {}", tap.turns,
                            format_with_uncertainty(tap.measured.value, tap.measured.u95,
                                                    tap.inductance ? Unit::henry : Unit::hertz)),
                fmt::format("{:+.3f} % from the fit, {}", 100 * tap.residual, tap.name));
        }
    }
    if (t.advice) {
        row(out, "tap", format_with_uncertainty(t.advice->turns.value, t.advice->turns.u95, Unit::none) + " turns",
            tuning::place_of_tap(*t.advice));
    }
    reach_rows(out, t);
    capacitor_rows(out, t.capacitor);
    const auto interval = [](std::string name, const Interval& i) {
        return AxisRow{std::move(name), i.value - i.u95, i.value, i.value + i.u95};
    };
    out += "  on one axis (95 %)\n";
    out += frequency_axis({interval("secondary", t.secondary_hz),
                           {"tuned here", t.target_hz.value * (1 - tuning::kTunedWindow), t.target_hz.value,
                            t.target_hz.value * (1 + tuning::kTunedWindow)},
                           interval("tank", t.tank_hz)});
}

}  // namespace

Result<TapText> parse_tap(std::string_view text) {
    const auto wrong = [&](const std::string& why) {
        return usage_error(fmt::format("--tap '{}': {}; write TURNS=FILE, e.g. 9.5=tank.json", text, why));
    };
    const std::size_t equals = text.find('=');
    if (equals == std::string_view::npos) return wrong("no '=' between turns and result");
    const auto turns = record::parse_quantity(text.substr(0, equals), Unit::turn);
    if (!turns) return wrong(turns.error().message);
    if (!(*turns > 0)) return wrong("the tap must lie above 0 turns");
    TapText tap{*turns, std::string(text.substr(equals + 1))};
    if (tap.file.empty()) return wrong("no result after '='");
    return tap;
}

std::string describe_compare(const tuning::CompareRequest& request, const tuning::CompareResult& c, bool with_budget) {
    std::string out = "compare (what the top load did)\n";
    row(out, "without", resonance_text(c.bare), fmt::format("{}, {}", c.bare.way, c.bare.name));
    row(out, "with", resonance_text(c.loaded), fmt::format("{}, {}", c.loaded.way, c.loaded.name));
    if (c.shift) {
        row(out, "shift", format_with_uncertainty(c.shift->shift_hz, c.shift->shift_u95_hz, Unit::hertz),
            per_cent(c.shift->relative, c.shift->relative_u95) + ", 95 %");
    } else {
        row(out, "shift", "nothing: the comparison is rejected");
    }
    if (c.added) {
        row(out, "added", farads(*c.added), "measured: from head to return, with the same shift; 95 %");
        row(out, "",
            c.inductance_measured
                ? "with the measured inductance of the winding"
                : "with the described inductance: measure it (winding, loading) and give --inductance");
    } else if (c.shift && !request.coil) {
        row(out, "added", "not told", "inductance and spread of the winding must be known: give --coil COIL.json");
    }
    if (c.calculated) {
        row(out, "calculated", farads(*c.calculated), "the same from the dimensions, in place");
        if (const auto percent = c.difference_percent()) row(out, "difference", fmt::format("{:+.2g} %", *percent));
        row(out, "alone in space", format_quantity(*c.isolated_f, Unit::farad),
            "winding and top load shield one another: not to be compared");
    }
    if (c.instead) {
        row(out, "instead", format_with_uncertainty(c.instead->frequency_hz, c.instead->frequency_u95_hz, Unit::hertz),
            fmt::format("predicted from the measured coil with {}",
                        measure::topload_name(request.instead->coil.topload)));
    }
    row(out, "verdict", measure::verdict_name(c.verdict()));
    out += findings_text(c.remarks);
    if (with_budget && c.added) budget_rows(out, "measured", *c.added);
    if (with_budget && c.calculated) budget_rows(out, "calculated", *c.calculated);
    return out;
}

std::string describe_tune(const tuning::TuneRequest& request, const tuning::TuneResult& result) {
    std::string out = "tune (the primary against the secondary)\n";
    row(out, "secondary", resonance_text(request.secondary),
        fmt::format("{}, {}", request.secondary.way, request.secondary.name));
    if (result.tuning) tuning_rows(out, request, *result.tuning);
    row(out, "verdict", tuning::verdict_sentence(result));
    out += findings_text(result.remarks);
    out += "  done and left\n";
    for (const auto& step : result.steps)
        out += fmt::format("    {:<11} {}\n", tuning::state_name(step.state), step.text);
    out += "  while the gap is bridged\n";
    for (const auto& line : bench::describe(bench::Hookup::tank).cautions) out += fmt::format("    {}\n", line);
    out += "  before any power\n";
    for (const auto& line : bench::before_power_reminders()) out += fmt::format("    {}\n", line);
    return out;
}

}  // namespace coldtune::cli
