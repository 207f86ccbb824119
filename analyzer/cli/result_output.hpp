// How `analyze` and `measure` print their result, on paper or for a program.
#pragma once

#include "analyzer/cli/console.hpp"
#include "analyzer/measure/result.hpp"

namespace CLI {
class App;
}

namespace coldtune::cli {

struct OutputOptions {
    bool json = false;
    bool curve = false;
    bool budget = false;
};

void add_output_options(CLI::App& app, OutputOptions& options);

// Prints the result and returns the exit code that belongs to its verdict; a rejection is also said in one line on
// standard error.
ExitCode print_result(Console& console, std::string_view command, const measure::MeasurementResult& result,
                      const OutputOptions& options);

// Only the exit code, and the line on standard error.
ExitCode verdict_code(Console& console, std::string_view command, const measure::MeasurementResult& result);

// The JSON object of a capture that could not even be read.
void print_unreadable(Console& console, bench::Hookup hookup, std::string_view sentence);

}  // namespace coldtune::cli
