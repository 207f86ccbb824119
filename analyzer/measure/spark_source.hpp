// Inputs of the spark's figures out of saved results (analyze --json).
#pragma once

#include <filesystem>
#include <optional>

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

// Errors: bad_input for a file that is no such result, rejected for a rejected one. A secondary comes from the hookups
// foot and pickup, a tank from the hookup tank, the coupling from winding with the primary shorted (uniform current:
// smaller than the oscillating pair's, model/coupled_pair.hpp), all five from foot with the tank closed.
Result<CircuitValues> read_secondary(const std::filesystem::path& path);
Result<CircuitValues> read_tank(const std::filesystem::path& path);
Result<CouplingValue> read_winding_coupling(const std::filesystem::path& path);
Result<SparkInputs> read_pair(const std::filesystem::path& path);

}  // namespace coldtune::measure
