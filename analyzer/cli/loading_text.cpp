#include "analyzer/cli/loading_text.hpp"

#include <fmt/format.h>

#include "analyzer/cli/result_text.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Unit;

constexpr std::string_view kPlusMinus = "+-";

std::string estimate_row(std::string_view name, const measure::SeriesEstimate& e) {
    const auto known = [](const std::optional<double>& value, const std::optional<double>& u95, Unit unit) {
        return value && u95 ? format_with_uncertainty(*value, *u95, unit) : std::string("none");
    };
    return fmt::format("    {:<14} L {}, own C {}, unloaded {}\n", name,
                       format_with_uncertainty(e.inductance_h, e.inductance_u95_h, Unit::henry),
                       known(e.capacitance_f, e.capacitance_u95_f, Unit::farad),
                       known(e.frequency_hz, e.frequency_u95_hz, Unit::hertz));
}

}  // namespace

Result<measure::LoadingPoint> parse_point(std::string_view text, double tolerance) {
    const auto wrong = [&](const std::string& why) {
        return usage_error(
            fmt::format("--point '{}': {}; write 100p=FILE or, with a tolerance of its own, 100p+-2%=FILE", text, why));
    };
    const std::size_t equals = text.find('=');
    if (equals == std::string_view::npos) return wrong("no '=' between capacitor and capture");
    measure::LoadingPoint point;
    point.file = std::string(text.substr(equals + 1));
    if (point.file.empty()) return wrong("no capture after '='");
    const std::string_view value = text.substr(0, equals);
    const std::size_t sign = value.find(kPlusMinus);
    const auto capacitance = record::parse_quantity(value.substr(0, sign), Unit::farad);
    if (!capacitance) return wrong(capacitance.error().message);
    point.capacitance_f = *capacitance;
    point.limit_f = tolerance * point.capacitance_f;
    if (sign != std::string_view::npos) {
        const std::string_view limit = value.substr(sign + kPlusMinus.size());
        const bool relative = limit.ends_with('%') || limit.ends_with("ppm");
        const auto parsed = record::parse_quantity(limit, relative ? Unit::ratio : Unit::farad);
        if (!parsed) return wrong(parsed.error().message);
        point.limit_f = relative ? *parsed * point.capacitance_f : *parsed;
    }
    return point;
}

std::string describe_loading(const measure::LoadingResult& loading, bool with_budget) {
    std::string out = describe_result(loading.result, false);
    out += "  capacitor, resonance with it, and how far it lies from the fit\n";
    const auto& value = loading.model ? loading.model : loading.straight_line;
    for (std::size_t i = 0; i < loading.points.size(); ++i) {
        const auto& p = loading.points[i];
        std::string capacitor = "none";
        if (p.capacitance_f > 0) {
            capacitor = fmt::format("{} +- {}", format_quantity(p.capacitance_f, Unit::farad, 3),
                                    format_quantity(p.limit_f / p.capacitance_f, Unit::ratio, 2));
        }
        std::string resonance = "not given";
        if (p.resonance && value) {
            resonance = fmt::format(
                "{}   {:+.3f} %",
                format_with_uncertainty(p.resonance->frequency_hz, p.resonance->frequency_u95_hz, Unit::hertz),
                100 * value->residual_hz[i] / p.resonance->frequency_hz);
        }
        out += fmt::format("    {:<18} {}   {}\n", capacitor, resonance, p.file);
    }
    if (!value) return out;
    out += "  from the series (L at low frequency; 95 %)\n";
    if (loading.model) out += estimate_row("model", *loading.model);
    out += estimate_row("straight line", *loading.straight_line);
    if (with_budget) {
        out += "  uncertainty (standard, k = 1)          resonance     inductance          own C\n";
        for (const auto& line : value->budget) {
            out += fmt::format("    {:<30} {:>13} {:>14} {:>14}\n", line.source,
                               format_quantity(line.frequency_u_hz, Unit::hertz, 3),
                               format_quantity(line.inductance_u_h, Unit::henry, 3),
                               format_quantity(line.capacitance_u_f, Unit::farad, 3));
        }
        out += fmt::format("    chi square {:.1f} for {} degrees of freedom\n", value->chi_square,
                           value->degrees_of_freedom);
    }
    return out;
}

}  // namespace coldtune::cli
