#include <fmt/format.h>

#include <algorithm>

#include "analyzer/record/quantity.hpp"
#include "analyzer/share/report_parts.hpp"

namespace coldtune::share {
namespace {

using record::Unit;

std::string value(double v, double half_width, Unit unit) {
    return escaped_html(record::format_with_uncertainty(v, half_width, unit, true));
}

// What a run gave, in one cell.
std::string outcome_html(const measure::MeasurementResult& result) {
    if (std::holds_alternative<measure::Rejected>(result.outcome)) return "no result";
    const auto& accepted = std::get<measure::Accepted>(result.outcome);
    if (accepted.resonance) {
        std::string out =
            fmt::format("{}<br/><span class=\"soft\">{}</span>",
                        value(accepted.resonance->frequency_hz, accepted.resonance->frequency_u95_hz, Unit::hertz),
                        measure::way_name(accepted.resonance->way));
        if (accepted.tank) {
            out += fmt::format("<br/><span class=\"soft\">L {}</span>",
                               value(accepted.tank->inductance_h, accepted.tank->inductance_u95_h, Unit::henry));
        }
        return out;
    }
    if (accepted.pair) {
        const measure::Pair& p = *accepted.pair;
        return fmt::format("coupling k {}<br/><span class=\"soft\">secondary {}<br/>tank {}</span>",
                           value(p.k, p.k_u95, Unit::none),
                           value(p.secondary_frequency_hz, p.secondary_frequency_u95_hz, Unit::hertz),
                           value(p.primary_frequency_hz, p.primary_frequency_u95_hz, Unit::hertz));
    }
    if (accepted.winding) {
        std::string out = value(accepted.winding->inductance_h, accepted.winding->inductance_u95_h, Unit::henry);
        if (accepted.coupling) {
            out += fmt::format("<br/>coupling k {}", value(accepted.coupling->k, accepted.coupling->k_u95, Unit::none));
        }
        return out;
    }
    return bench::seeks_resonance(result.hookup) ? "no resonance" : "standard";
}

// A fact of the runs: a column where they differ, a sentence where all say the same, nothing where none says it.
struct Shared {
    bool column = false;
    std::string same;
};
Shared shared(const Report& report, std::string ReportRun::*text) {
    Shared found{false, report.runs.front().*text};
    for (const ReportRun& run : report.runs) found.column = found.column || run.*text != found.same;
    if (found.column) found.same.clear();
    return found;
}

}  // namespace

std::string runs_section(const Report& report) {
    const Shared time = shared(report, &ReportRun::time_utc), device = shared(report, &ReportRun::device),
                 resistor = shared(report, &ReportRun::reference);
    const bool times = time.column || !time.same.empty();
    std::string out = "<section><h2>Runs</h2>\n";
    std::string all;
    if (!device.same.empty()) all += fmt::format("interface {}", escaped_html(device.same));
    if (!resistor.same.empty())
        all += fmt::format("{}reference resistor {}", all.empty() ? "" : ", ", escaped_html(resistor.same));
    if (!all.empty())
        out += fmt::format("<p>{}: {}.</p>\n", report.runs.size() == 1 ? "Measured with" : "All with", all);
    out += "<table class=\"grid runs\">\n<thead><tr><th>Run</th>";
    if (times) out += "<th>Time (UTC)</th>";
    out += "<th>Hookup</th>";
    if (device.column) out += "<th>Interface</th>";
    if (resistor.column) out += "<th>Reference</th>";
    out += "<th>Result</th><th>Q</th><th>Resistance</th><th>Verdict</th></tr></thead>\n<tbody>\n";
    const int columns = 6 + (times ? 1 : 0) + (device.column ? 1 : 0) + (resistor.column ? 1 : 0);
    for (const ReportRun& run : report.runs) {
        const measure::MeasurementResult& result = run.result;
        std::string words;
        if (!run.note.empty()) words += fmt::format("<div>{}</div>", escaped_html(run.note));
        for (const measure::Finding& f : result.findings) {
            words +=
                fmt::format("<div><strong>{}</strong>: {}</div>", measure::code_name(f.code), sentence_html(f.text));
        }
        const measure::Resonance* r = result.resonance();
        const measure::WindingValue* w = nullptr;
        if (const auto* accepted = std::get_if<measure::Accepted>(&result.outcome); accepted && accepted->winding)
            w = &*accepted->winding;
        out += fmt::format("<tr{}><td>{}</td>", words.empty() ? "" : " class=\"first\"", escaped_html(run.name));
        if (times) out += fmt::format("<td class=\"time\">{}</td>", escaped_html(shown_time(run.time_utc)));
        out += fmt::format("<td class=\"short\">{}</td>", bench::describe(result.hookup).name);
        if (device.column) out += fmt::format("<td>{}</td>", escaped_html(run.device));
        if (resistor.column) out += fmt::format("<td class=\"short\">{}</td>", escaped_html(run.reference));
        out += fmt::format("<td class=\"short\">{}</td>", outcome_html(result));
        out += fmt::format("<td class=\"short\">{}</td>",
                           r && r->q && r->q_u95 ? value(*r->q, *r->q_u95, Unit::none) : no_value);
        out += fmt::format("<td class=\"short\">{}</td>",
                           r && r->resistance_ohm && r->resistance_u95_ohm
                               ? value(*r->resistance_ohm, *r->resistance_u95_ohm, Unit::ohm)
                           : w ? value(w->resistance_ohm, w->resistance_u95_ohm, Unit::ohm)
                               : no_value);
        out += fmt::format("<td class=\"{0} short\">{0}</td></tr>\n", measure::verdict_name(result.verdict()));
        if (!words.empty()) out += fmt::format("<tr class=\"why\"><td colspan=\"{}\">{}</td></tr>\n", columns, words);
    }
    return out + "</tbody>\n</table>\n</section>\n";
}

}  // namespace coldtune::share
