// What measured f, Q and k mean for the spark gap, whichever way they were had: figures with intervals, words, JSON.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/described_json.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/model/spark_exchange.hpp"

namespace coldtune::measure {

// Values with their 95 % half-widths (0: taken as exact).
struct SparkInputs {
    model::TwoCircuits value;
    model::TwoCircuits u95;
    // Correlation of the inputs as in Pair; nullopt: independent.
    std::optional<std::array<std::array<double, 5>, 5>> correlation;
    std::vector<std::string> sources;  // where each came from, in words
    // With both circuits measured together: the description they were analysed with.
    std::optional<Described> described = {};
    // For the voltage ratio: of the tank, and of the secondary referred to the voltage of its head.
    std::optional<double> primary_capacitance_f, secondary_capacitance_f;
};
SparkInputs spark_inputs(const Pair& pair);

struct SparkFigures {
    SparkInputs inputs;
    model::SparkExchange exchange;
    // 95 % half-widths from the inputs'. One of `exchanges` for each of the exchange's, as far as every exchange still
    // happens when an input moves by its half-width; empty where the inputs are taken as exact.
    struct ExchangeU95 {
        double time_s = 0, primary_share = 0, secondary_share = 0;
    };
    std::array<double, 2> split_u95_hz{};
    std::vector<ExchangeU95> exchanges_u95;
    [[nodiscard]] const ExchangeU95* first_transfer_u95() const {
        return exchanges_u95.empty() ? nullptr : &exchanges_u95.front();
    }
    // Volts at the head per volt on the tank: sqrt(C1/C2) and sqrt(L2/L1), which agree when tuned, and what the losses
    // leave of the first. Empty without both capacitances.
    std::optional<double> limit_by_capacitance, limit_by_inductance, reached;
};

// Errors: those of spark_exchange.
Result<SparkFigures> spark_figures(const SparkInputs& inputs);

// The sentence that belongs beside every one of these figures.
std::string_view spark_caution();

// Name and value of each figure, to stand in two columns; then the exchanges, one line each.
struct SparkLine {
    std::string name, value;
};
std::vector<SparkLine> spark_lines(const SparkFigures& figures);

// Schema coldtune.exchange.v1.
nlohmann::ordered_json to_json(const SparkFigures& figures, bool with_envelopes);

}  // namespace coldtune::measure
