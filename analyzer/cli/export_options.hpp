// Writing one result for other programs: `export` and `book export` share the options and the writers.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/cli/command.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/model/geometry.hpp"

namespace coldtune::cli {

struct ExportOptions {
    std::string out, as, parameter = "s", band;
    std::vector<std::string> over;
    double reference_ohm = 50;
    bool json = false;
};

// --out, --as, --parameter, --reference, --over, --band and --json.
void add_export_options(CLI::App& app, ExportOptions& options);

// What is written and what is known of it.
struct ExportSource {
    std::string name;    // how messages call it
    std::string label;   // of its curve in a plot
    std::string origin;  // for the comments of the file: "foot.json", "coil-book.json, run 3"
    measure::MeasurementResult result;
    bool only_curve = false;                     // a response from elsewhere: hookup and verdict are not known
    std::optional<model::CoilDescription> coil;  // for the calculated curve of a plot
};

// Whether the options ask for a plot, or the error in them (usage).
Result<bool> asks_for_plot(const ExportOptions& options);

// Writes the file whole or not at all and says so on standard output; refusals in one line.
ExitCode write_export(const ExportOptions& options, const ExportSource& source, std::string_view command,
                      Console& console);

}  // namespace coldtune::cli
