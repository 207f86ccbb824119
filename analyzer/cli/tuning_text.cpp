#include "analyzer/cli/tuning_text.hpp"

#include <fmt/format.h>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/cli/frequency_axis.hpp"
#include "analyzer/cli/text_row.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/tuning/words.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::Unit;
using tuning::Interval;
using tuning::Remark;

constexpr tuning::Ways kWays = {"--allowance", "give --inductance", "give --coil COIL.json"};

void rows(std::string& out, const std::vector<tuning::Line>& lines) {
    for (const tuning::Line& line : lines) row(out, line.name, line.value, line.remark);
}

std::string findings_text(const std::vector<Remark>& remarks) {
    std::string out;
    for (const Remark& r : remarks) out += fmt::format("  - {}\n      {}\n", r.code, r.text);
    return out;
}

void budget_rows(std::string& out, const char* head, const tuning::Capacitance& c) {
    out += fmt::format("  uncertainty of the {} capacitance (standard, k = 1)\n", head);
    for (const auto& line : c.budget)
        out += fmt::format("    {:<40} {:>12}\n", line.source, format_quantity(line.u_f, Unit::farad, 3));
}

std::string axis_text(const tuning::Tuning& t) {
    const auto interval = [](std::string name, const Interval& i) {
        return AxisRow{std::move(name), i.value - i.u95, i.value, i.value + i.u95};
    };
    return "  on one axis (95 %)\n" +
           frequency_axis({interval("secondary", t.secondary_hz),
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
    rows(out, tuning::compare_lines(request, c, kWays));
    row(out, "verdict", measure::verdict_name(c.verdict()));
    out += findings_text(c.remarks);
    if (with_budget && c.added) budget_rows(out, "measured", *c.added);
    if (with_budget && c.calculated) budget_rows(out, "calculated", *c.calculated);
    return out;
}

std::string describe_tune(const tuning::TuneRequest& request, const tuning::TuneResult& result) {
    std::string out = "tune (the primary against the secondary)\n";
    const auto& secondary = *request.secondary.resonance;
    row(out, "secondary", record::format_with_uncertainty(secondary.value, secondary.u95, Unit::hertz),
        fmt::format("{}, {}", request.secondary.way, request.secondary.name));
    if (result.tuning) {
        rows(out, tuning::tuning_lines(request, *result.tuning, kWays));
        out += axis_text(*result.tuning);
    }
    row(out, "verdict", tuning::verdict_text(result));
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
