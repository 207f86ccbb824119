#include "analyzer/share/report.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>

#include "analyzer/picture/plot_words.hpp"
#include "analyzer/picture/theme.hpp"
#include "analyzer/record/markup.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/record/utc_time.hpp"
#include "analyzer/share/report_parts.hpp"

namespace coldtune::share {
namespace {

using record::Unit;

std::string with_uncertainty(double value, double half_width, Unit unit) {
    return escaped_html(record::format_with_uncertainty(value, half_width, unit, true));
}

std::string list(std::span<const std::string_view> items) {
    std::string out = "<ul>\n";
    for (std::string_view item : items) out += fmt::format("<li>{}</li>\n", sentence_html(item));
    return out + "</ul>\n";
}

}  // namespace

std::string escaped_html(std::string_view text) {
    return record::markup_text(text);
}

std::string shown_time(std::string text) {
    if (record::is_utc_time(text) && text.size() >= 19) {
        text.resize(19);
        text[10] = ' ';
    }
    return text;
}

std::string plus_minus_html(std::string_view given) {
    std::string text(given);
    for (auto at = text.find("+-"); at != std::string::npos; at = text.find("+-", at)) text.replace(at, 2, "\u00b1");
    return escaped_html(text);
}

std::string sentence_html(std::string_view given) {
    std::string text(given);
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
    if (!text.empty() && text.back() != '.' && text.back() != '?') text += '.';
    return plus_minus_html(text);
}

const ReportRun* main_run(const Report& report) {
    const ReportRun* found = nullptr;
    bool secondary = false;
    for (const ReportRun& run : report.runs) {
        if (run.result.resonance() == nullptr) continue;
        const bool head_free = run.result.hookup == bench::Hookup::foot || run.result.hookup == bench::Hookup::pickup;
        if (secondary && !head_free) continue;
        found = &run;
        secondary = head_free;
    }
    return found;
}

std::vector<bench::Hookup> hookups_of(const Report& report) {
    std::vector<bench::Hookup> found;
    for (const bench::HookupText& text : bench::all_hookups()) {
        const bool used = std::any_of(report.runs.begin(), report.runs.end(),
                                      [&](const ReportRun& run) { return run.result.hookup == text.hookup; });
        if (used) found.push_back(text.hookup);
    }
    return found;
}

std::string summary_section(const Report& report) {
    const ReportRun* run = main_run(report);
    const bool pair = std::any_of(report.runs.begin(), report.runs.end(),
                                  [](const ReportRun& r) { return r.result.pair() != nullptr; });
    if (run == nullptr && pair) return {};  // it has a section of its own
    if (run == nullptr) {
        return "<section class=\"headline\"><p class=\"figure-large\">No resonance</p>\n"
               "<p>None of these runs gave one; the table of runs says why.</p></section>\n";
    }
    const measure::Resonance& r = *run->result.resonance();
    std::string out = "<section class=\"headline\">\n";
    out += fmt::format("<p class=\"figure-large\">{}</p>\n",
                       with_uncertainty(r.frequency_hz, r.frequency_u95_hz, Unit::hertz));
    out += fmt::format("<p>measured, hookup {}, {}, 95 % (k = 2): {}</p>\n", bench::describe(run->result.hookup).name,
                       measure::way_name(r.way), escaped_html(run->name));
    out += "<table class=\"facts\">\n";
    const auto row = [&](std::string_view name, const std::string& value) {
        out += fmt::format("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", name, value);
    };
    if (r.q && r.q_u95) row("Q", with_uncertainty(*r.q, *r.q_u95, Unit::none));
    if (r.resistance_ohm && r.resistance_u95_ohm)
        row("Resistance at resonance", with_uncertainty(*r.resistance_ohm, *r.resistance_u95_ohm, Unit::ohm));
    const bool head_free = run->result.hookup == bench::Hookup::foot || run->result.hookup == bench::Hookup::pickup;
    if (run->result.calculated && head_free) {
        const model::Calculated& c = *run->result.calculated;
        row("Calculated from the dimensions", with_uncertainty(c.frequency_hz, c.frequency_u95_hz, Unit::hertz));
        if (const auto percent = run->result.difference_percent()) {
            row("Difference", escaped_html(fmt::format("{} ({})", picture::difference_words(*percent),
                                                       picture::hertz(std::abs(r.frequency_hz - c.frequency_hz), 3))));
        }
    }
    const auto verdict = run->result.verdict();
    row("Verdict", fmt::format("<span class=\"{0}\">{0}</span>", measure::verdict_name(verdict)));
    return out + "</table>\n</section>\n";
}

std::string tuning_section(const ReportTuning& tuning) {
    std::string out = "<section><h2>Tuning</h2>\n";
    if (!tuning.verdict.empty()) out += fmt::format("<p><strong>{}</strong></p>\n", sentence_html(tuning.verdict));
    if (!tuning.facts.empty()) {
        out += "<table class=\"facts\">\n";
        for (const auto& [name, value] : tuning.facts) {
            out += fmt::format("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", escaped_html(name),
                               plus_minus_html(value));
        }
        out += "</table>\n";
    }
    for (const std::string& s : tuning.sentences) out += fmt::format("<p>{}</p>\n", sentence_html(s));
    return out + "</section>\n";
}

std::string cautions_section(const Report& report) {
    std::string out = "<section class=\"cautions\"><h2>Cautions</h2>\n<h3>While measuring</h3>\n";
    out += list(bench::general_cautions());
    // What a hookup adds of its own, once.
    std::vector<std::string_view> more;
    for (bench::Hookup hookup : hookups_of(report)) {
        for (std::string_view caution : bench::describe(hookup).cautions) {
            const auto general = bench::general_cautions();
            if (std::find(general.begin(), general.end(), caution) == general.end() &&
                std::find(more.begin(), more.end(), caution) == more.end()) {
                more.push_back(caution);
            }
        }
    }
    if (!more.empty()) out += list(more);
    out += "<h3>Before any power-up</h3>\n" + list(bench::before_power_reminders());
    return out + "</section>\n";
}

std::string style_sheet() {
    const picture::Theme& t = picture::light_theme();
    const auto css = [](picture::Color c) { return fmt::format("#{:02x}{:02x}{:02x}", c.r, c.g, c.b); };
    return fmt::format(
        "@page {{ size: A4; margin: 16mm 15mm 18mm 15mm; }}\n"
        "* {{ box-sizing: border-box; }}\n"
        "html {{ background: {ground}; }}\n"
        "body {{ font: 10.5pt/1.45 'Open Sans', 'DejaVu Sans', sans-serif; color: {ink}; background: {panel};"
        " max-width: 210mm; margin: 8mm auto; padding: 14mm 15mm; }}\n"
        "h1 {{ font-size: 20pt; line-height: 1.2; margin: 0 0 2mm; overflow-wrap: anywhere; }}\n"
        "h2 {{ font-size: 13.5pt; margin: 9mm 0 3mm; padding-bottom: 1mm; border-bottom: 0.3mm solid {rule};"
        " break-after: avoid; }}\n"
        "h3 {{ font-size: 11pt; margin: 5mm 0 1.5mm; break-after: avoid; }}\n"
        "p {{ margin: 0 0 2mm; }} ul {{ margin: 0 0 2mm; padding-left: 6mm; }}\n"
        ".soft {{ color: {soft}; }} .figure-large {{ font-size: 22pt; font-weight: 600; margin: 0; }}\n"
        ".headline {{ margin-top: 6mm; padding: 4mm 5mm; border-left: 1.2mm solid {accent}; background: {ground};"
        " break-inside: avoid; }}\n"
        "table {{ border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }}\n"
        "th, td {{ text-align: left; vertical-align: top; padding: 1.1mm 3mm 1.1mm 0; overflow-wrap: anywhere; }}\n"
        ".facts {{ width: auto; margin-top: 2mm; }} .facts th {{ font-weight: 400; color: {soft}; padding-right: 8mm; "
        "}}\n"
        ".grid {{ font-size: 9.5pt; }} .grid th {{ border-bottom: 0.3mm solid {soft}; }}"
        " .grid td {{ border-bottom: 0.2mm solid {rule}; }} .grid tr {{ break-inside: avoid; }}\n"
        ".grid .why td {{ padding-top: 0; color: {soft}; }} .grid .first td {{ border-bottom: 0; }}\n"
        ".runs {{ font-size: 9pt; }} .runs th, .short {{ white-space: nowrap; }} .runs th, .runs td {{ padding-right: "
        "2.5mm; }}"
        " .runs td:first-child {{ min-width: 22mm; }} .runs .time {{ min-width: 19mm; }}\n"
        "td.number, th.number {{ text-align: right; white-space: nowrap; }} .total td {{ font-weight: 600; }}\n"
        ".good {{ color: {good}; font-weight: 600; }} .caution {{ color: {caution}; font-weight: 600; }}"
        " .rejected {{ color: {rejected}; font-weight: 600; }}\n"
        "figure {{ margin: 3mm 0 4mm; break-inside: avoid; }} figcaption {{ color: {soft}; font-size: 9pt; }}\n"
        "svg {{ display: block; height: auto; }}\n"
        ".beside {{ display: flex; gap: 8mm; align-items: flex-start; break-inside: avoid; }}"
        " .beside figure {{ flex: 0 0 72mm; margin: 0; }} .beside div {{ flex: 1; }}\n"
        ".cautions {{ break-inside: avoid; border: 0.4mm solid {caution}; padding: 0 5mm 3mm; margin: 9mm 0.5mm 0 0; }}"
        " .cautions h2 {{ border: 0; margin-top: 4mm; color: {caution}; }}\n"
        ".small {{ color: {soft}; font-size: 8.5pt; margin-top: 2mm; }} .wiring {{ max-width: 128mm; }}\n"
        "@media print {{ html, body {{ background: none; }} body {{ max-width: none; margin: 0; padding: 0; }}"
        " * {{ print-color-adjust: exact; -webkit-print-color-adjust: exact; }} }}\n",
        fmt::arg("ground", css(t.ground)), fmt::arg("panel", css(t.panel)), fmt::arg("ink", css(t.ink)),
        fmt::arg("soft", css(t.soft_ink)), fmt::arg("rule", css(t.rule)), fmt::arg("accent", css(t.accent)),
        fmt::arg("good", css(t.good)), fmt::arg("caution", css(t.caution)), fmt::arg("rejected", css(t.rejected)));
}

Result<std::string> report_html(const Report& report) {
    if (report.runs.empty()) return bad_input("there is no run to report; give one result or more");
    std::string title = report.title;
    if (title.empty() && report.coil) title = report.coil->name;
    if (title.empty()) title = "Coil";
    const auto plots = plots_section(report);
    if (!plots) return plots.error();

    std::string out = "<!DOCTYPE html>\n<html lang=\"en\" xmlns=\"http://www.w3.org/1999/xhtml\">\n<head>\n";
    out += "<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width\"/>\n";
    // Even a browser that could be talked into it would load and run nothing.
    out += "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\"/>\n";
    out += fmt::format("<meta name=\"generator\" content=\"{}\"/>\n", escaped_html(report.provenance.program));
    out += fmt::format("<title>{}</title>\n<style>\n{}</style>\n</head>\n<body>\n", escaped_html(title), style_sheet());
    out += fmt::format("<h1>{}</h1>\n", escaped_html(title));
    out += fmt::format(
        "<p class=\"soft\">Measured at signal level with the coil unpowered. Written {} UTC by {}{}{}.</p>\n",
        escaped_html(shown_time(report.provenance.written)), escaped_html(report.provenance.program),
        report.provenance.source.empty() ? "" : " from ", escaped_html(report.provenance.source));
    if (!report.note.empty()) out += fmt::format("<p>{}</p>\n", escaped_html(report.note));
    out += summary_section(report);
    out +=
        "<p class=\"small\">Intervals are 95 % (k = 2, after the GUM). The resonance at the foot is the frequency of "
        "zero "
        "reactance there; that of a tank is the undamped one.</p>\n";
    if (!report.remarks.empty()) {
        out += "<section><h2>Not as it was kept</h2>\n<ul>\n";
        for (const std::string& remark : report.remarks) out += fmt::format("<li>{}</li>\n", sentence_html(remark));
        out += "</ul>\n</section>\n";
    }
    if (report.tuning) {
        out += tuning_section(*report.tuning);
    } else if (!report.no_tuning.empty()) {
        out += fmt::format("<p class=\"small\">{}</p>\n",
                           sentence_html("nothing is said about the tuning: " + report.no_tuning));
    }
    out += pair_section(report);
    out += *plots;
    out += runs_section(report);
    out += budget_section(report);
    if (report.coil) out += coil_section(report);
    out += wiring_section(report);
    out += cautions_section(report);
    return out + "</body>\n</html>\n";
}

}  // namespace coldtune::share
