// Inputs of the spark's figures out of written results (analyze --json).
#pragma once

#include <filesystem>
#include <optional>
#include <string_view>

#include "analyzer/measure/spark_figures.hpp"

namespace coldtune::measure {

// One circuit's own frequency and Q as a result states them; Q empty where its way cannot know it.
struct CircuitValues {
    double frequency_hz = 0, frequency_u95_hz = 0;
    std::optional<double> q;
    double q_u95 = 0;
};

struct CouplingValue {
    double k = 0, k_u95 = 0;
};

// Errors: bad_input for what is no such result, rejected for a rejected one. A secondary comes from the hookups foot
// and pickup, a tank from the hookup tank, the coupling from winding with the primary shorted (uniform current: smaller
// than the oscillating pair's, model/coupled_pair.hpp), all five from foot with the tank closed. `origin` is how
// messages call the text.
Result<CircuitValues> parse_secondary(std::string_view json_text, std::string_view origin);
Result<CircuitValues> parse_tank(std::string_view json_text, std::string_view origin);
Result<CouplingValue> parse_winding_coupling(std::string_view json_text, std::string_view origin);
Result<SparkInputs> parse_pair(std::string_view json_text, std::string_view origin);
// The same from files.
Result<CircuitValues> read_secondary(const std::filesystem::path& path);
Result<CircuitValues> read_tank(const std::filesystem::path& path);
Result<CouplingValue> read_winding_coupling(const std::filesystem::path& path);
Result<SparkInputs> read_pair(const std::filesystem::path& path);

// What only the description of the coil tells: the capacitances for the voltage ratio, and k of the oscillating pair
// over k of a uniform current. Errors: those of model::make_coupled_pair.
struct SparkCoil {
    double primary_capacitance_f = 0, secondary_capacitance_f = 0, coupling_ratio = 1;
};
Result<SparkCoil> spark_coil(const model::CoilDescription& coil);

// Puts a coupling measured on the winding in its place, with a word on where it came from.
void take_coupling(SparkInputs& inputs, const CouplingValue& measured, std::string_view name,
                   const std::optional<SparkCoil>& coil);

}  // namespace coldtune::measure
