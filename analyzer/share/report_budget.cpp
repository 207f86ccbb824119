#include <fmt/format.h>

#include <algorithm>

#include "analyzer/record/quantity.hpp"
#include "analyzer/share/report_parts.hpp"

namespace coldtune::share {
namespace {

using record::Unit;

// A value the parts add up to, with its 95 % half-width; nullopt where there is none.
struct BudgetColumn {
    std::string_view heading;
    Unit unit = Unit::none;
    std::optional<double> u95;
};
struct Line {
    std::string_view source;
    std::vector<double> u;  // standard, k = 1, one for each column
};
struct Budget {
    const ReportRun* run = nullptr;
    std::vector<BudgetColumn> columns;
    std::vector<Line> lines;
};

std::string value(double v, Unit unit) {
    return unit == Unit::none ? fmt::format("{:.2g}", v) : escaped_html(record::format_quantity(v, unit, 2, true));
}

std::string table(const Budget& budget) {
    std::string out =
        fmt::format("<h3>{}</h3>\n<table class=\"grid\">\n<thead><tr><th>Source</th>", escaped_html(budget.run->name));
    for (const BudgetColumn& c : budget.columns) out += fmt::format("<th class=\"number\">{}</th>", c.heading);
    out += "</tr></thead>\n<tbody>\n";
    for (const Line& line : budget.lines) {
        out += fmt::format("<tr><td>{}</td>", escaped_html(line.source));
        for (std::size_t k = 0; k < budget.columns.size(); ++k) {
            const BudgetColumn& c = budget.columns[k];
            // What is lost in the whole would only be noise on paper.
            const bool counts = c.u95 && line.u[k] > 0.5e-3 * *c.u95;
            out += fmt::format("<td class=\"number\">{}</td>", counts ? value(line.u[k], c.unit) : no_value);
        }
        out += "</tr>\n";
    }
    out += "<tr class=\"total\"><td>together, 95 % (k = 2)</td>";
    for (const BudgetColumn& c : budget.columns) {
        out += fmt::format("<td class=\"number\">{}</td>", c.u95 ? value(*c.u95, c.unit) : no_value);
    }
    return out + "</tr>\n</tbody>\n</table>\n";
}

// What a run's values are made of; no lines where nothing was written down.
Budget budget_of(const ReportRun& run) {
    Budget budget{&run, {}, {}};
    const auto* accepted = std::get_if<measure::Accepted>(&run.result.outcome);
    if (accepted == nullptr) return budget;
    if (accepted->resonance) {
        const measure::Resonance& r = *accepted->resonance;
        budget.columns = {{"Frequency", Unit::hertz, r.frequency_u95_hz},
                          {"Q", Unit::none, r.q_u95},
                          {"Resistance", Unit::ohm, r.resistance_u95_ohm}};
        for (const auto& line : r.budget)
            budget.lines.push_back({line.source, {line.frequency_u_hz, line.q_u, line.resistance_u_ohm}});
    } else if (accepted->pair) {
        const measure::Pair& p = *accepted->pair;
        budget.columns = {{"Secondary", Unit::hertz, p.secondary_frequency_u95_hz},
                          {"Its Q", Unit::none, p.secondary_q_u95},
                          {"Tank", Unit::hertz, p.primary_frequency_u95_hz},
                          {"Its Q", Unit::none, p.primary_q_u95},
                          {"Coupling k", Unit::none, p.k_u95}};
        for (const auto& line : p.budget) {
            budget.lines.push_back({line.source,
                                    {line.secondary_frequency_u_hz, line.secondary_q_u, line.primary_frequency_u_hz,
                                     line.primary_q_u, line.k_u}});
        }
    } else if (accepted->winding) {
        const measure::WindingValue& w = *accepted->winding;
        budget.columns = {{"Inductance", Unit::henry, w.inductance_u95_h},
                          {"Resistance", Unit::ohm, w.resistance_u95_ohm}};
        for (const auto& line : w.budget)
            budget.lines.push_back({line.source, {line.inductance_u_h, line.resistance_u_ohm}});
    }
    return budget;
}

}  // namespace

std::string budget_section(const Report& report) {
    // Of a whole book only the last of each kind: the others differ little, and their intervals stand in the table.
    constexpr std::size_t kMostTables = 6;
    std::vector<Budget> budgets;
    for (const ReportRun& run : report.runs) {
        Budget budget = budget_of(run);
        if (!budget.lines.empty()) budgets.push_back(std::move(budget));
    }
    if (budgets.empty()) return {};
    std::string remark;
    if (budgets.size() > kMostTables) {
        const auto same_kind = [](const Budget& a, const Budget& b) {
            return a.run->result.hookup == b.run->result.hookup && a.columns.size() == b.columns.size();
        };
        std::vector<Budget> last;
        for (std::size_t k = 0; k < budgets.size(); ++k) {
            const bool later = std::any_of(budgets.begin() + static_cast<std::ptrdiff_t>(k) + 1, budgets.end(),
                                           [&](const Budget& b) { return same_kind(budgets[k], b); });
            if (!later) last.push_back(std::move(budgets[k]));
        }
        budgets = std::move(last);
        remark = " Of each kind of run the last one.";
    }
    std::string out = fmt::format(
        "<section><h2>Uncertainty</h2>\n<p>What each part contributes: standard uncertainties (k = 1), added in "
        "squares. A dash: nothing, or less than a thousandth of the whole.{}</p>\n",
        remark);
    for (const Budget& budget : budgets) out += table(budget);
    return out + "</section>\n";
}

}  // namespace coldtune::share
