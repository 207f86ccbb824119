#include "analyzer/measure/spark_figures.hpp"

#include <fmt/format.h>

#include <Eigen/Core>
#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Unit;

// In the order of Pair's correlation.
std::array<double, 5> values_of(const model::TwoCircuits& c) {
    return {c.primary_hz, c.secondary_hz, c.primary_q, c.secondary_q, c.k};
}
model::TwoCircuits circuits_of(const std::array<double, 5>& v) {
    return {v[0], v[1], v[2], v[3], v[4]};
}

std::string value_text(double value, double u95, Unit unit) {
    return u95 > 0 ? format_with_uncertainty(value, u95, unit) : format_quantity(value, unit);
}

// First order, central differences of one standard uncertainty (GUM 5.1.3 and eq. 13).
void propagate(SparkFigures& figures) {
    const model::Exchange* first = figures.exchange.first_transfer();
    if (first == nullptr) return;
    const auto at = values_of(figures.inputs.value), u95 = values_of(figures.inputs.u95);
    Eigen::Matrix<double, 2, 5> shift = Eigen::Matrix<double, 2, 5>::Zero();
    model::SparkOptions quick;
    quick.most_exchanges = 1;
    quick.envelope_points = 2;
    for (std::size_t i = 0; i < 5; ++i) {
        if (!(u95[i] > 0)) continue;
        auto up = at, down = at;
        up[i] += u95[i] / 2;
        down[i] -= u95[i] / 2;
        const auto high = model::spark_exchange(circuits_of(up), quick);
        const auto low = model::spark_exchange(circuits_of(down), quick);
        // Beyond what can be calculated, or where no transfer is left: how far it reaches is then not known.
        if (!high || !low || high->first_transfer() == nullptr || low->first_transfer() == nullptr) return;
        const auto column = static_cast<Eigen::Index>(i);
        shift(0, column) = 0.5 * (high->first_transfer()->time_s - low->first_transfer()->time_s);
        shift(1, column) = 0.5 * (high->first_transfer()->secondary_share - low->first_transfer()->secondary_share);
    }
    Eigen::Matrix<double, 5, 5> correlation = Eigen::Matrix<double, 5, 5>::Identity();
    if (figures.inputs.correlation) {
        for (Eigen::Index i = 0; i < 5; ++i) {
            for (Eigen::Index k = 0; k < 5; ++k) {
                correlation(i, k) =
                    (*figures.inputs.correlation)[static_cast<std::size_t>(i)][static_cast<std::size_t>(k)];
            }
        }
    }
    const Eigen::Matrix2d covariance = shift * correlation * shift.transpose();
    figures.time_u95_s = 2 * std::sqrt(std::max(0.0, covariance(0, 0)));
    figures.secondary_share_u95 = 2 * std::sqrt(std::max(0.0, covariance(1, 1)));
}

}  // namespace

SparkInputs spark_inputs(const Pair& p) {
    SparkInputs inputs;
    inputs.value = {p.primary_frequency_hz, p.secondary_frequency_hz, p.primary_q, p.secondary_q, p.k};
    inputs.u95 = {p.primary_frequency_u95_hz, p.secondary_frequency_u95_hz, p.primary_q_u95, p.secondary_q_u95,
                  p.k_u95};
    inputs.correlation = p.correlation;
    inputs.sources = {"both circuits and k measured together"};
    return inputs;
}

Result<SparkFigures> spark_figures(const SparkInputs& inputs) {
    auto exchange = model::spark_exchange(inputs.value);
    if (!exchange) return exchange.error();
    SparkFigures figures;
    figures.inputs = inputs;
    figures.exchange = std::move(*exchange);
    propagate(figures);
    if (inputs.primary_capacitance_f && inputs.secondary_capacitance_f) {
        const double by_c = std::sqrt(*inputs.primary_capacitance_f / *inputs.secondary_capacitance_f);
        figures.limit_by_capacitance = by_c;
        // L = 1 / (w^2 C) for either.
        figures.limit_by_inductance = by_c * inputs.value.primary_hz / inputs.value.secondary_hz;
        figures.reached = by_c * figures.exchange.secondary_peak;
    }
    return figures;
}

std::string_view spark_caution() {
    return "calculated from signal-level values; streamers change it, and so does the resistance of the spark itself";
}

std::vector<SparkLine> spark_lines(const SparkFigures& f) {
    const SparkInputs& in = f.inputs;
    const model::SparkExchange& x = f.exchange;
    std::vector<SparkLine> lines;
    lines.push_back({"tank", fmt::format("{}, Q {}", value_text(in.value.primary_hz, in.u95.primary_hz, Unit::hertz),
                                         value_text(in.value.primary_q, in.u95.primary_q, Unit::none))});
    lines.push_back(
        {"secondary", fmt::format("{}, Q {}", value_text(in.value.secondary_hz, in.u95.secondary_hz, Unit::hertz),
                                  value_text(in.value.secondary_q, in.u95.secondary_q, Unit::none))});
    lines.push_back({"coupling k", value_text(in.value.k, in.u95.k, Unit::none)});
    lines.push_back({"split", fmt::format("{} and {}, falling by e in {} and {}",
                                          format_quantity(x.split[0].frequency_hz, Unit::hertz),
                                          format_quantity(x.split[1].frequency_hz, Unit::hertz),
                                          format_quantity(x.split[0].decay_s, Unit::second, 3),
                                          format_quantity(x.split[1].decay_s, Unit::second, 3))});
    if (const model::Exchange* first = x.first_transfer(); first != nullptr) {
        lines.push_back(
            {"first transfer",
             fmt::format("after {}, {:.2f} cycles of the tank: its first notch",
                         value_text(first->time_s, f.time_u95_s.value_or(0), Unit::second), first->cycles)});
        lines.push_back({"then", fmt::format("{} % of the energy in the secondary, {:.1f} % still in the tank, "
                                             "{:.1f} % lost (what the coupling stores, half to each)",
                                             value_text(100 * first->secondary_share,
                                                        100 * f.secondary_share_u95.value_or(0), Unit::none),
                                             100 * first->primary_share,
                                             100 * std::max(0.0, 1 - first->secondary_share - first->primary_share))});
    } else {
        lines.push_back(
            {"first transfer", "none: for these losses the coupling is too loose; the energy only seeps over"});
    }
    if (f.limit_by_capacitance) {
        lines.push_back({"voltage ratio", fmt::format("at most {:.4g} by sqrt(C1/C2), {:.4g} by sqrt(L2/L1); {:.4g} "
                                                      "with these losses, at {}",
                                                      *f.limit_by_capacitance, *f.limit_by_inductance, *f.reached,
                                                      format_quantity(x.secondary_peak_s, Unit::second, 3))});
    } else {
        lines.push_back(
            {"voltage", fmt::format("{:.1f} % of what sqrt(C1/C2) would give, at {}", 100 * x.secondary_peak,
                                    format_quantity(x.secondary_peak_s, Unit::second, 3))});
    }
    for (std::size_t i = 0; i < x.exchanges.size(); ++i) {
        const model::Exchange& e = x.exchanges[i];
        lines.push_back({i == 0 ? "exchanges" : "",
                         fmt::format("{:>9}  {:>6.2f} cycles  tank {:>5.1f} %  secondary {:>5.1f} %  {}",
                                     format_quantity(e.time_s, Unit::second), e.cycles, 100 * e.primary_share,
                                     100 * e.secondary_share, e.to_secondary ? "notch" : "back in the tank")});
    }
    return lines;
}

nlohmann::ordered_json to_json(const SparkFigures& f, bool with_envelopes) {
    using Json = nlohmann::ordered_json;
    const auto optional = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
    const auto circuits = [](const model::TwoCircuits& c) -> Json {
        return {{"primary_frequency_hz", c.primary_hz},
                {"secondary_frequency_hz", c.secondary_hz},
                {"primary_q", c.primary_q},
                {"secondary_q", c.secondary_q},
                {"k", c.k}};
    };
    const auto exchange = [](const model::Exchange& e) -> Json {
        return {{"time_s", e.time_s},
                {"cycles", e.cycles},
                {"primary_energy", e.primary_share},
                {"secondary_energy", e.secondary_share},
                {"to", e.to_secondary ? "secondary" : "primary"}};
    };
    const model::SparkExchange& x = f.exchange;
    Json j;
    j["schema"] = "coldtune.exchange.v1";
    j["program_version"] = COLDTUNE_VERSION;
    j["caution"] = spark_caution();
    j["inputs"] = circuits(f.inputs.value);
    j["inputs_u95"] = circuits(f.inputs.u95);
    j["sources"] = f.inputs.sources;
    j["split"] = Json::array();
    for (const auto& mode : x.split)
        j["split"].push_back({{"frequency_hz", mode.frequency_hz}, {"decay_s", mode.decay_s}});
    j["first_transfer"] = x.first_transfer() != nullptr ? exchange(*x.first_transfer()) : Json(nullptr);
    if (x.first_transfer() != nullptr) {
        j["first_transfer"]["time_u95_s"] = optional(f.time_u95_s);
        j["first_transfer"]["secondary_energy_u95"] = optional(f.secondary_share_u95);
    }
    j["exchanges"] = Json::array();
    for (const model::Exchange& e : x.exchanges) j["exchanges"].push_back(exchange(e));
    j["secondary_peak"] = {{"share_of_limit", x.secondary_peak}, {"time_s", x.secondary_peak_s}};
    j["voltage_ratio"] = {{"limit_by_capacitance", optional(f.limit_by_capacitance)},
                          {"limit_by_inductance", optional(f.limit_by_inductance)},
                          {"with_losses", optional(f.reached)}};
    if (with_envelopes) {
        j["envelopes"] = {{"time_s", x.envelopes.time_s},
                          {"primary_voltage", x.envelopes.primary_voltage},
                          {"secondary_voltage", x.envelopes.secondary_voltage}};
    }
    return j;
}

}  // namespace coldtune::measure
