#include "analyzer/cli/result_text.hpp"

#include <fmt/format.h>

#include <cmath>

#include "analyzer/cli/text_row.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Unit;

std::string wrapped(std::string_view text, std::size_t indent, std::size_t width) {
    std::string out;
    std::size_t column = indent;
    std::size_t at = 0;
    while (at < text.size()) {
        const std::size_t end = std::min(text.find(' ', at), text.size());
        const std::string_view word = text.substr(at, end - at);
        if (column + word.size() > width && column > indent) {
            out += "\n" + std::string(indent, ' ');
            column = indent;
        }
        out += word;
        out += ' ';
        column += word.size() + 1;
        at = end + 1;
    }
    while (!out.empty() && out.back() == ' ') out.pop_back();
    return out;
}

void pair_rows(std::string& out, const measure::Pair& p) {
    row(out, "tank", format_with_uncertainty(p.primary_frequency_hz, p.primary_frequency_u95_hz, Unit::hertz),
        "alone, undamped, 95 %");
    row(out, "tank Q", format_with_uncertainty(p.primary_q, p.primary_q_u95, Unit::none));
    row(out, "secondary", format_with_uncertainty(p.secondary_frequency_hz, p.secondary_frequency_u95_hz, Unit::hertz),
        fmt::format("with the tank open, undamped; the tank is {:+.2f} % from it",
                    100 * (p.primary_frequency_hz / p.secondary_frequency_hz - 1)));
    row(out, "secondary Q", format_with_uncertainty(p.secondary_q, p.secondary_q_u95, Unit::none));
    row(out, "coupling k", format_with_uncertainty(p.k, p.k_u95, Unit::none), "of the pair as it oscillates");
    const auto peak = [&](const char* name, const measure::Pair::Peak& at, bool stronger) {
        row(out, name, format_with_uncertainty(at.frequency_hz, at.frequency_u95_hz, Unit::hertz),
            stronger ? "the stronger of the two" : "");
    };
    peak("lower peak", p.lower, p.lower_is_stronger());
    peak("upper peak", p.upper, !p.lower_is_stronger());
}

void pair_budget(std::string& out, const measure::Pair& p) {
    out += fmt::format("  {:<30} {:>14} {:>14} {:>9} {:>9} {:>11}\n", "uncertainty (standard, k = 1)", "tank",
                       "secondary", "tank Q", "sec. Q", "coupling k");
    for (const auto& line : p.budget) {
        out += fmt::format("    {:<28} {:>14} {:>14} {:>9.2g} {:>9.2g} {:>11.2g}\n", line.source,
                           format_quantity(line.primary_frequency_u_hz, Unit::hertz, 3),
                           format_quantity(line.secondary_frequency_u_hz, Unit::hertz, 3), line.primary_q_u,
                           line.secondary_q_u, line.k_u);
    }
    out += fmt::format("    chi square {:.1f} for {} degrees of freedom\n", p.chi_square, p.degrees_of_freedom);
}

void coupling_budget(std::string& out, const measure::Coupling& coupling) {
    out += fmt::format("  uncertainty (k = 1)\n    {:<34} {:>11}\n", "source", "coupling k");
    for (const auto& line : coupling.budget) out += fmt::format("    {:<34} {:>11.2g}\n", line.source, line.k_u);
}

}  // namespace

std::string describe_result(const measure::MeasurementResult& result, bool with_budget) {
    std::string out =
        fmt::format("{} ({})\n", bench::describe(result.hookup).name, bench::describe(result.hookup).purpose);
    const measure::Resonance* r = result.resonance();
    if (r != nullptr) {
        row(out, "measured", format_with_uncertainty(r->frequency_hz, r->frequency_u95_hz, Unit::hertz),
            fmt::format("{}, 95 %", measure::way_name(r->way)));
        if (r->way != measure::Way::in_band && !result.reason_for_way.empty()) {
            row(out, "why this way", result.reason_for_way);
        }
        if (r->q && r->q_u95) row(out, "Q", format_with_uncertainty(*r->q, *r->q_u95, Unit::none));
        if (r->loaded_q) {
            row(out, "Q, loaded", fmt::format("{:.3g}", *r->loaded_q),
                "by the reference resistor; the coil's own Q cannot be told at the wire");
        }
        if (r->resistance_ohm && r->resistance_u95_ohm) {
            row(out, "resistance", format_with_uncertainty(*r->resistance_ohm, *r->resistance_u95_ohm, Unit::ohm),
                "at resonance");
        }
    } else if (result.pair() != nullptr) {
        pair_rows(out, *result.pair());
    } else if (result.verdict() == measure::Verdict::rejected) {
        row(out, "measured", "nothing: the capture is rejected");
    } else if (const auto* accepted = std::get_if<measure::Accepted>(&result.outcome);
               accepted != nullptr && accepted->winding) {
        const measure::WindingValue& w = *accepted->winding;
        row(out, "inductance", format_with_uncertainty(w.inductance_h, w.inductance_u95_h, Unit::henry),
            "low frequency, 95 %");
        row(out, "resistance", format_with_uncertainty(w.resistance_ohm, w.resistance_u95_ohm, Unit::ohm),
            fmt::format("at {}", format_quantity(w.window.low_hz, Unit::hertz, 3)));
        row(out, "own capacitance", format_with_uncertainty(w.own_capacitance_f, w.own_capacitance_u95_f, Unit::farad),
            "of the winding, head tied");
        if (accepted->coupling) {
            row(out, "coupling k",
                format_with_uncertainty(accepted->coupling->k, accepted->coupling->k_u95, Unit::none),
                fmt::format("{} with the primary shorted",
                            format_quantity(accepted->coupling->shorted_inductance_h, Unit::henry)));
            if (!accepted->coupling->primary_described && accepted->coupling->primary_inductance_h > 0) {
                row(out, "", "",
                    fmt::format("shorting lead against an assumed primary of {}; describe the primary (--coil)",
                                format_quantity(accepted->coupling->primary_inductance_h, Unit::henry, 2)));
            }
        }
    } else if (bench::seeks_resonance(result.hookup)) {
        row(out, "measured", "no resonance");
    } else {
        row(out, "measured", "a standard; use it with the coil's capture");
    }
    if (const auto* accepted = std::get_if<measure::Accepted>(&result.outcome); accepted != nullptr && accepted->tank) {
        const measure::TankValue& t = *accepted->tank;
        row(out, "inductance", format_with_uncertainty(t.inductance_h, t.inductance_u95_h, Unit::henry),
            "of the tank, leads included, 95 %");
        row(out, "capacitance", format_with_uncertainty(t.capacitance_f, t.capacitance_u95_f, Unit::farad),
            r != nullptr && r->way == measure::Way::loading_series ? "measured" : "as described");
        if (t.resistance_ohm) row(out, "loss", format_quantity(*t.resistance_ohm, Unit::ohm, 2), "in series with it");
    }
    if (result.calculated_tank) {
        const model::TankCalculated& c = *result.calculated_tank;
        row(out, "calculated", format_with_uncertainty(c.frequency_hz, c.frequency_u95_hz, Unit::hertz),
            fmt::format("{} from the dimensions with {}, 95 %", format_quantity(c.inductance_h, Unit::henry),
                        format_quantity(c.capacitance_f, Unit::farad)));
        if (const auto percent = result.difference_percent())
            row(out, "difference", fmt::format("{:+.2f} %", *percent));
    }
    if (result.calculated && result.hookup == bench::Hookup::winding) {
        row(out, "calculated",
            format_with_uncertainty(result.calculated->low_frequency_inductance_h,
                                    result.calculated->low_frequency_inductance_u95_h, Unit::henry),
            "from the dimensions, 95 %");
    } else if (result.calculated) {
        row(out, "calculated",
            format_with_uncertainty(result.calculated->frequency_hz, result.calculated->frequency_u95_hz, Unit::hertz),
            "from the dimensions, 95 %");
        if (const auto percent = result.difference_percent()) {
            const double difference_hz = r->frequency_hz - result.calculated->frequency_hz;
            row(out, "difference",
                fmt::format("{:+.2f} %   ({}{})", *percent, difference_hz < 0 ? "-" : "+",
                            format_quantity(std::abs(difference_hz), Unit::hertz, 3)),
                *percent < 0 ? "measured below calculated" : "measured above calculated");
        }
    }
    if (result.usable_band_hz) {
        row(out, "usable band",
            fmt::format("{} to {}", format_quantity(result.usable_band_hz->low_hz, Unit::hertz, 3),
                        format_quantity(result.usable_band_hz->high_hz, Unit::hertz, 3)));
    }
    if (r != nullptr && !r->cross_checks.empty()) {
        std::string text;
        for (const auto& c : r->cross_checks)
            text += fmt::format("{}{} {:.4g}", text.empty() ? "" : ", ", c.route, c.q);
        row(out, "other routes", "Q by " + text);
    }
    row(out, "verdict", measure::verdict_name(result.verdict()));
    for (const auto& f : result.findings) {
        out += fmt::format("  - {}\n", measure::code_name(f.code));
        out += "      " + wrapped(f.text, 6, 100) + "\n";
    }
    if (with_budget && result.pair() != nullptr) pair_budget(out, *result.pair());
    if (const auto* accepted = std::get_if<measure::Accepted>(&result.outcome);
        with_budget && accepted != nullptr && accepted->coupling) {
        coupling_budget(out, *accepted->coupling);
    }
    if (with_budget && r != nullptr) {
        out += "  uncertainty (standard, k = 1)          frequency          Q      resistance\n";
        for (const auto& line : r->budget) {
            // What this way cannot know has no uncertainty either.
            out += fmt::format("    {:<30} {:>14} {:>10} {:>15}\n", line.source,
                               format_quantity(line.frequency_u_hz, Unit::hertz, 3),
                               r->q ? fmt::format("{:.3g}", line.q_u) : "-",
                               r->resistance_ohm ? format_quantity(line.resistance_u_ohm, Unit::ohm, 3) : "-");
        }
        out += fmt::format("    chi square {:.1f} for {} degrees of freedom, fitted from {} to {}\n", r->chi_square,
                           r->degrees_of_freedom, format_quantity(r->fit_window.low_hz, Unit::hertz),
                           format_quantity(r->fit_window.high_hz, Unit::hertz));
    }
    return out;
}

std::string describe_calculated(const model::Calculated& c) {
    std::string out = "calculated from the dimensions\n";
    row(out, "resonance", format_with_uncertainty(c.frequency_hz, c.frequency_u95_hz, Unit::hertz),
        "foot grounded, head free, 95 %");
    std::string higher;
    for (std::size_t i = 1; i < c.modes_hz.size(); ++i) {
        higher += (higher.empty() ? "" : ", ") + format_quantity(c.modes_hz[i], Unit::hertz, 3);
    }
    if (!higher.empty()) row(out, "next modes", higher, "to about 2 %");
    row(out, "inductance", format_quantity(c.inductance_h, Unit::henry), "effective at resonance, seen from the foot");
    row(out, "", format_with_uncertainty(c.low_frequency_inductance_h, c.low_frequency_inductance_u95_h, Unit::henry),
        "at low frequency, 95 %");
    row(out, "capacitance", format_quantity(c.capacitance_f, Unit::farad), "effective, winding and top load together");
    row(out, "Q", fmt::format("{:.0f}", c.q), "from copper loss alone: expect less");
    row(out, "resistance", format_quantity(c.resistance_ohm, Unit::ohm),
        fmt::format("at resonance; {} at direct current", format_quantity(c.dc_resistance_ohm, Unit::ohm)));
    row(out, "wire", format_quantity(c.wire_length_m, Unit::metre));
    row(out, "head voltage", fmt::format("{:.0f} V per volt at the foot", c.head_volts_per_volt), "at resonance");
    out +=
        "second opinion from the handbooks (current sheet, Medhurst's table, the top load as if alone in space: with "
        "one, it "
        "reads low)\n";
    row(out, "resonance", format_quantity(c.handbook.frequency_hz, Unit::hertz),
        fmt::format("{:+.1f} % from the above", 100 * (c.handbook.frequency_hz / c.frequency_hz - 1)));
    row(out, "inductance", format_quantity(c.handbook.inductance_h, Unit::henry));
    row(out, "capacitance", format_quantity(c.handbook.capacitance_f, Unit::farad));
    return out;
}

}  // namespace coldtune::cli
