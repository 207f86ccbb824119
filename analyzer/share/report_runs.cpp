#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/curves.hpp"
#include "analyzer/picture/plot_words.hpp"
#include "analyzer/picture/svg_canvas.hpp"
#include "analyzer/picture/theme.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/share/report_parts.hpp"
#include "analyzer/share/response_plot.hpp"

namespace coldtune::share {
namespace {

using record::Unit;

constexpr const char* kNone = "\u2013";

std::string value(double v, double half_width, Unit unit) {
    return escaped_html(record::format_with_uncertainty(v, half_width, unit, true));
}
std::string value(double v, Unit unit, int digits) {
    return escaped_html(record::format_quantity(v, unit, digits, true));
}

// What a run gave, in one cell.
std::string outcome_html(const measure::MeasurementResult& result) {
    if (std::holds_alternative<measure::Rejected>(result.outcome)) return "no result";
    const auto& accepted = std::get<measure::Accepted>(result.outcome);
    if (accepted.resonance) {
        return fmt::format("{}<br/><span class=\"soft\">{}</span>",
                           value(accepted.resonance->frequency_hz, accepted.resonance->frequency_u95_hz, Unit::hertz),
                           measure::way_name(accepted.resonance->way));
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

struct Drawn {
    bench::Hookup hookup;
    std::vector<const ReportRun*> runs;
};

// Runs whose curve is an impedance, by hookup. Of very many the last ones: more could not be told apart.
std::vector<Drawn> drawable(const Report& report) {
    constexpr std::size_t kMostTogether = 5;
    std::vector<Drawn> found;
    for (bench::Hookup hookup : hookups_of(report)) {
        Drawn drawn{hookup, {}};
        for (const ReportRun& run : report.runs) {
            if (run.result.hookup == hookup && run.result.curve.frequency_hz.size() > 1 && curve_is_sound(run.result))
                drawn.runs.push_back(&run);
        }
        if (drawn.runs.size() > kMostTogether)
            drawn.runs.erase(drawn.runs.begin(), drawn.runs.end() - static_cast<std::ptrdiff_t>(kMostTogether));
        if (!drawn.runs.empty()) found.push_back(std::move(drawn));
    }
    return found;
}

std::string plot_svg(const ResponsePlot& plot, const std::string& name, const std::string& title) {
    // As wide as the text of an A4 page, so that letters come out as large as a caption's.
    constexpr float kWidth = 860, kHeight = 560, kText = 14;
    picture::SvgCanvas canvas(kWidth, kHeight, picture::light_theme().panel, kText, name);
    draw_response(canvas, {0, 0, kWidth, kHeight}, plot);
    return canvas.element(title);
}

std::string figure(const std::string& svg, const std::string& caption) {
    return fmt::format("<figure>\n{}<figcaption>{}</figcaption>\n</figure>\n", svg, caption);
}

// Around the resonance, wide enough to show the calculated one too where that is near.
std::optional<dsp::Band> close_band(const ResponsePlot& plot) {
    if (!plot.resonance || plot.resonance->way != measure::Way::in_band || plot.measured.empty()) return std::nullopt;
    const double f = plot.resonance->frequency_hz;
    double half = 5 * f / plot.resonance->q.value_or(100);
    if (plot.calculated_value) half = std::max(half, 1.5 * std::abs(plot.calculated_value->frequency_hz - f));
    const auto& measured = plot.measured.back().curve.frequency_hz;
    const dsp::Band band{std::max(f - half, measured.front()), std::min(f + half, measured.back())};
    // A close look at nearly everything would show nothing new.
    return band.high_hz < 2 * band.low_hz ? std::optional(band) : std::nullopt;
}

}  // namespace

Result<std::string> plots_section(const Report& report) {
    std::string out;
    for (const Drawn& drawn : drawable(report)) {
        const ReportRun* best = nullptr;
        for (const ReportRun* run : drawn.runs) {
            if (run->result.resonance() != nullptr) best = run;
        }
        ResponsePlot plot = plot_of((best != nullptr ? best : drawn.runs.back())->result, "");
        plot.measured.clear();
        for (const ReportRun* run : drawn.runs) {
            std::string name = run->name;
            if (run->result.verdict() == measure::Verdict::rejected) name += " (rejected)";
            plot.measured.push_back({std::move(name), run->result.curve});
        }
        const bool of_secondary = drawn.hookup == bench::Hookup::foot || drawn.hookup == bench::Hookup::winding;
        if (report.coil && of_secondary) {
            if (Status added = add_calculated(plot, *report.coil); !added) return added.error();
        }
        const std::string hookup(bench::describe(drawn.hookup).name);
        const std::string what = drawn.hookup == bench::Hookup::foot ? "admittance" : "impedance";
        std::string caption = fmt::format("Hookup {}: {} over the usable band, with its 95 % band", hookup, what);
        if (plot.calculated) caption += "; dashed: calculated from the dimensions";
        out += figure(plot_svg(plot, hookup + "whole", caption), caption + ".");
        if (const auto band = close_band(plot)) {
            plot.band = band;
            const std::string close = fmt::format("Hookup {}: the same around the resonance", hookup);
            out += figure(plot_svg(plot, hookup + "close", close), close + ".");
        }
    }
    return out.empty() ? out : "<section><h2>Response</h2>\n" + out + "</section>\n";
}

std::string runs_section(const Report& report) {
    const auto any = [&](std::string ReportRun::*text) {
        return std::any_of(report.runs.begin(), report.runs.end(),
                           [&](const ReportRun& run) { return !(run.*text).empty(); });
    };
    const bool times = any(&ReportRun::time_utc), devices = any(&ReportRun::device),
               resistors = any(&ReportRun::reference);
    std::string out = "<section><h2>Runs</h2>\n<table class=\"grid\">\n<thead><tr><th>Run</th>";
    if (times) out += "<th>Time (UTC)</th>";
    out += "<th>Hookup</th>";
    if (devices) out += "<th>Interface</th>";
    if (resistors) out += "<th>Reference</th>";
    out += "<th>Result</th><th>Q</th><th>Resistance</th><th>Verdict</th></tr></thead>\n<tbody>\n";
    const int columns = 6 + (times ? 1 : 0) + (devices ? 1 : 0) + (resistors ? 1 : 0);
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
        if (times) out += fmt::format("<td>{}</td>", escaped_html(run.time_utc));
        out += fmt::format("<td>{}</td>", bench::describe(result.hookup).name);
        if (devices) out += fmt::format("<td>{}</td>", escaped_html(run.device));
        if (resistors) out += fmt::format("<td>{}</td>", escaped_html(run.reference));
        out += fmt::format("<td>{}</td>", outcome_html(result));
        out += fmt::format("<td>{}</td>", r && r->q && r->q_u95 ? value(*r->q, *r->q_u95, Unit::none) : kNone);
        out += fmt::format("<td>{}</td>", r && r->resistance_ohm && r->resistance_u95_ohm
                                              ? value(*r->resistance_ohm, *r->resistance_u95_ohm, Unit::ohm)
                                          : w ? value(w->resistance_ohm, w->resistance_u95_ohm, Unit::ohm)
                                              : kNone);
        out += fmt::format("<td class=\"{0}\">{0}</td></tr>\n", measure::verdict_name(result.verdict()));
        if (!words.empty()) out += fmt::format("<tr class=\"why\"><td colspan=\"{}\">{}</td></tr>\n", columns, words);
    }
    return out + "</tbody>\n</table>\n</section>\n";
}

std::string budget_section(const Report& report) {
    std::string out;
    for (const ReportRun& run : report.runs) {
        const measure::Resonance* r = run.result.resonance();
        if (r == nullptr || r->budget.empty()) continue;
        out += fmt::format(
            "<h3>{}</h3>\n<table class=\"grid\">\n<thead><tr><th>Source</th><th class=\"number\">Frequency</th>"
            "<th class=\"number\">Q</th><th class=\"number\">Resistance</th></tr></thead>\n<tbody>\n",
            escaped_html(run.name));
        const auto row = [&](std::string_view kind, const std::string& source, const std::string& f,
                             const std::string& q, const std::string& ohm) {
            out += fmt::format(
                "<tr{}><td>{}</td><td class=\"number\">{}</td><td class=\"number\">{}</td><td class=\"number\">{}</td>"
                "</tr>\n",
                kind, source, f, q, ohm);
        };
        // What is lost in the whole would only be noise on paper.
        const auto or_none = [](double u, double u95, std::string text) {
            return u > 0.5e-3 * u95 ? std::move(text) : std::string(kNone);
        };
        for (const measure::BudgetLine& line : r->budget) {
            row("", escaped_html(line.source),
                or_none(line.frequency_u_hz, r->frequency_u95_hz, value(line.frequency_u_hz, Unit::hertz, 2)),
                r->q_u95 ? or_none(line.q_u, *r->q_u95, fmt::format("{:.2g}", line.q_u)) : std::string(kNone),
                r->resistance_u95_ohm
                    ? or_none(line.resistance_u_ohm, *r->resistance_u95_ohm, value(line.resistance_u_ohm, Unit::ohm, 2))
                    : std::string(kNone));
        }
        row(" class=\"total\"", "together, 95 % (k = 2)", value(r->frequency_u95_hz, Unit::hertz, 2),
            r->q_u95 ? fmt::format("{:.2g}", *r->q_u95) : std::string(kNone),
            r->resistance_u95_ohm ? value(*r->resistance_u95_ohm, Unit::ohm, 2) : std::string(kNone));
        out += "</tbody>\n</table>\n";
    }
    if (out.empty()) return out;
    return "<section><h2>Uncertainty</h2>\n<p>What each part contributes: standard uncertainties (k = 1), added in "
           "squares. A dash: nothing, or less than a thousandth of the whole.</p>\n" +
           out + "</section>\n";
}

}  // namespace coldtune::share
