#include "analyzer/measure/spark_figures.hpp"

#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
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

// The figures whose intervals are told, in one row: both frequencies, then time and shares of every exchange.
constexpr Eigen::Index kPerExchange = 3;
Eigen::VectorXd row_of(const model::SparkExchange& x, std::size_t exchanges) {
    Eigen::VectorXd row(2 + kPerExchange * static_cast<Eigen::Index>(exchanges));
    row[0] = x.split[0].frequency_hz;
    row[1] = x.split[1].frequency_hz;
    for (std::size_t i = 0; i < exchanges; ++i) {
        const auto at = 2 + kPerExchange * static_cast<Eigen::Index>(i);
        row[at] = x.exchanges[i].time_s;
        row[at + 1] = x.exchanges[i].primary_share;
        row[at + 2] = x.exchanges[i].secondary_share;
    }
    return row;
}

// First order, central differences of one standard uncertainty (GUM 5.1.3 and eq. 13).
void propagate(SparkFigures& figures) {
    const auto at = values_of(figures.inputs.value), u95 = values_of(figures.inputs.u95);
    model::SparkOptions quick;
    quick.envelope_points = 2;
    std::array<std::optional<std::pair<model::SparkExchange, model::SparkExchange>>, 5> moved;
    std::size_t exchanges = figures.exchange.exchanges.size();
    for (std::size_t i = 0; i < 5; ++i) {
        if (!(u95[i] > 0)) continue;
        auto up = at, down = at;
        up[i] += u95[i] / 2;
        down[i] -= u95[i] / 2;
        auto high = model::spark_exchange(circuits_of(up), quick);
        auto low = model::spark_exchange(circuits_of(down), quick);
        if (!high || !low) return;  // beyond what can be calculated: how far it reaches is not known
        exchanges = std::min({exchanges, high->exchanges.size(), low->exchanges.size()});
        moved[i].emplace(std::move(*high), std::move(*low));
    }
    const Eigen::Index figures_told = 2 + kPerExchange * static_cast<Eigen::Index>(exchanges);
    Eigen::MatrixXd shift = Eigen::MatrixXd::Zero(figures_told, 5);
    bool any = false;
    for (std::size_t i = 0; i < 5; ++i) {
        if (!moved[i]) continue;
        any = true;
        shift.col(static_cast<Eigen::Index>(i)) =
            0.5 * (row_of(moved[i]->first, exchanges) - row_of(moved[i]->second, exchanges));
    }
    if (!any) return;
    Eigen::Matrix<double, 5, 5> correlation = Eigen::Matrix<double, 5, 5>::Identity();
    if (figures.inputs.correlation) {
        for (Eigen::Index i = 0; i < 5; ++i) {
            for (Eigen::Index k = 0; k < 5; ++k) {
                correlation(i, k) =
                    (*figures.inputs.correlation)[static_cast<std::size_t>(i)][static_cast<std::size_t>(k)];
            }
        }
    }
    const Eigen::VectorXd variance = (shift * correlation * shift.transpose()).diagonal();
    const auto half_width = [&](Eigen::Index k) { return 2 * std::sqrt(std::max(0.0, variance[k])); };
    figures.split_u95_hz = {half_width(0), half_width(1)};
    for (std::size_t i = 0; i < exchanges; ++i) {
        const auto k = 2 + kPerExchange * static_cast<Eigen::Index>(i);
        figures.exchanges_u95.push_back({half_width(k), half_width(k + 1), half_width(k + 2)});
    }
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
                                          value_text(x.split[0].frequency_hz, f.split_u95_hz[0], Unit::hertz),
                                          value_text(x.split[1].frequency_hz, f.split_u95_hz[1], Unit::hertz),
                                          format_quantity(x.split[0].decay_s, Unit::second, 3),
                                          format_quantity(x.split[1].decay_s, Unit::second, 3))});
    if (const model::Exchange* first = x.first_transfer(); first != nullptr) {
        const auto* u = f.first_transfer_u95();
        lines.push_back(
            {"first transfer",
             fmt::format("after {}, {:.2f} cycles of the tank: its first notch",
                         value_text(first->time_s, u != nullptr ? u->time_s : 0, Unit::second), first->cycles)});
        lines.push_back({"then", fmt::format("{} % of the energy in the secondary, {:.1f} % still in the tank, "
                                             "{:.1f} % lost (what the coupling stores, half to each)",
                                             value_text(100 * first->secondary_share,
                                                        u != nullptr ? 100 * u->secondary_share : 0, Unit::none),
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
        // A share is told to a tenth of a per cent, or as far as it is known.
        const auto share = [&](double value, double SparkFigures::ExchangeU95::*u95) {
            if (i >= f.exchanges_u95.size()) return fmt::format("{:>5.1f}", 100 * value);
            return fmt::format("{:>5.1f} +- {:.1f}", 100 * value, std::max(0.1, 100 * (f.exchanges_u95[i].*u95)));
        };
        using U95 = SparkFigures::ExchangeU95;
        const double time_u95_s = i < f.exchanges_u95.size() ? f.exchanges_u95[i].time_s : 0;
        lines.push_back(
            {i == 0 ? "exchanges" : "",
             fmt::format("{:>18}  {:>6.2f} cycles  tank {} %  secondary {} %  {}",
                         value_text(e.time_s, time_u95_s, Unit::second), e.cycles,
                         share(e.primary_share, &U95::primary_share), share(e.secondary_share, &U95::secondary_share),
                         e.to_secondary ? "notch" : "back in the tank")});
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
    for (std::size_t i = 0; i < 2; ++i) {
        j["split"].push_back({{"frequency_hz", x.split[i].frequency_hz},
                              {"frequency_u95_hz", f.split_u95_hz[i]},
                              {"decay_s", x.split[i].decay_s}});
    }
    const auto with_u95 = [&](std::size_t i) {
        Json one = exchange(x.exchanges[i]);
        const auto* u = i < f.exchanges_u95.size() ? &f.exchanges_u95[i] : nullptr;
        one["time_u95_s"] = u != nullptr ? Json(u->time_s) : Json(nullptr);
        one["primary_energy_u95"] = u != nullptr ? Json(u->primary_share) : Json(nullptr);
        one["secondary_energy_u95"] = u != nullptr ? Json(u->secondary_share) : Json(nullptr);
        return one;
    };
    j["first_transfer"] = x.first_transfer() != nullptr ? with_u95(0) : Json(nullptr);
    j["exchanges"] = Json::array();
    for (std::size_t i = 0; i < x.exchanges.size(); ++i) j["exchanges"].push_back(with_u95(i));
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
