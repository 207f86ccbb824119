// The options that `analyze` and `measure` share: the declared bench, the standards, the coil.
#pragma once

#include <optional>
#include <string>

#include "analyzer/measure/analysis.hpp"
#include "dsp/result.hpp"

namespace CLI {
class App;
}

namespace coldtune::cli {

struct BenchOptions {
    std::string hookup_name;
    double reference_ohm = 0;
    double load_ohm = 0;
    double input_resistance_ohm = 1e6;
    double input_capacitance_f = 150e-12;
    double reference_tolerance = 0.01;
    double load_tolerance = 0.001;
    double clock_tolerance = 50e-6;
    bool coupled = false;
    bool one_input = false;  // measure: the standards are swept in the same stream as the coil
    std::string open_path, short_path, load_path, coil_path;
};

void add_bench_options(CLI::App& app, BenchOptions& options);
// --coupled, for the commands that take one capture.
void add_coupled_flag(CLI::App& app, BenchOptions& options);

// What the options declare, without looking at any file: hookup, bench, tolerances. Errors (usage): out of range.
Result<measure::AnalysisRequest> declared_bench(const BenchOptions& options);

// Fills in everything of a request but the coil's own capture: reads the standards and the coil description.
Result<measure::AnalysisRequest> make_request(const BenchOptions& options);

}  // namespace coldtune::cli
