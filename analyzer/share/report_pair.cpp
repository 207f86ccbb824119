#include <fmt/format.h>

#include "analyzer/record/quantity.hpp"
#include "analyzer/share/report_parts.hpp"

namespace coldtune::share {

using record::Unit;

std::string pair_section(const Report& report) {
    const ReportRun* last = nullptr;
    for (const ReportRun& run : report.runs) {
        if (run.result.pair() != nullptr) last = &run;
    }
    if (last == nullptr) return {};
    const measure::Pair& p = *last->result.pair();
    const auto value = [](double v, double u95, Unit unit) {
        return escaped_html(record::format_with_uncertainty(v, u95, unit, true));
    };
    std::string out = fmt::format(
        "<section><h2>Secondary and tank together</h2>\n<p>{}: both circuits found in one sweep at the foot, each "
        "frequency that of the circuit by itself.</p>\n<table class=\"facts\">\n",
        escaped_html(last->name));
    const auto row = [&](std::string_view name, const std::string& text) {
        out += fmt::format("<tr><th scope=\"row\">{}</th><td>{}</td></tr>\n", name, text);
    };
    row("Secondary", value(p.secondary_frequency_hz, p.secondary_frequency_u95_hz, Unit::hertz));
    row("Q of the secondary", value(p.secondary_q, p.secondary_q_u95, Unit::none));
    row("Tank", value(p.primary_frequency_hz, p.primary_frequency_u95_hz, Unit::hertz));
    row("Q of the tank", value(p.primary_q, p.primary_q_u95, Unit::none));
    row("Coupling k", value(p.k, p.k_u95, Unit::none));
    row("Resonances seen", fmt::format("{} and {}", value(p.lower.frequency_hz, p.lower.frequency_u95_hz, Unit::hertz),
                                       value(p.upper.frequency_hz, p.upper.frequency_u95_hz, Unit::hertz)));
    row("Stronger at the foot", p.lower_is_stronger() ? "the lower" : "the upper");
    return out + "</table>\n</section>\n";
}

}  // namespace coldtune::share
