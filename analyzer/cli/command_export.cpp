// coldtune export: a kept result as a file for other programs.
#include <CLI/CLI.hpp>
#include <filesystem>
#include <memory>

#include "analyzer/cli/export_options.hpp"
#include "analyzer/measure/kept_result.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/share/response_file.hpp"

namespace coldtune::cli {
namespace {

namespace fs = std::filesystem;

struct ExportCommandOptions {
    std::string from, coil_path;
    ExportOptions to;
};

// A result of ours whole, or the response of somebody else as one without anything but its curve.
Result<measure::MeasurementResult> read_source(const std::string& path) {
    if (!share::is_plain_response(path)) return measure::read_kept_result(path);
    auto curve = share::read_response(path);
    if (!curve) return curve.error();
    measure::MeasurementResult result;
    result.outcome = measure::Accepted{};
    result.curve = std::move(*curve);
    return result;
}

ExitCode export_result(const ExportCommandOptions& o, Console& console) {
    const auto plot = asks_for_plot(o.to);
    if (!plot) return console.fail("export", plot.error());
    if (!o.coil_path.empty() && !*plot) {
        return console.fail("export", usage_error("--coil belongs to a plot; write it as .svg"));
    }
    auto result = read_source(o.from);
    if (!result) return console.fail("export", result.error());
    const fs::path file(o.from);
    ExportSource source{.name = o.from,
                        .label = file.stem().string(),
                        .origin = file.filename().string(),
                        .result = std::move(*result),
                        .only_curve = share::is_plain_response(o.from),
                        .coil = {}};
    if (!o.coil_path.empty()) {
        auto coil = record::read_coil(o.coil_path);
        if (!coil) return console.fail("export", coil.error());
        source.coil = std::move(*coil);
    }
    return write_export(o.to, source, "export", console);
}

}  // namespace

Command add_export(CLI::App& root) {
    auto o = std::make_shared<ExportCommandOptions>();
    CLI::App* app = root.add_subcommand("export", "Write a result for other programs: Touchstone, CSV, SPICE, SVG");
    app->add_option("RESULT", o->from,
                    "Output of analyze --json --curve; or a response of others (.s1p, .ts, .csv) to be converted")
        ->required()
        ->type_name("RESULT.json");
    add_export_options(*app, o->to);
    app->add_option("--coil", o->coil_path, "Plot: description of the coil, for the calculated curve")
        ->type_name("COIL.json");
    return {app, [o](Console& console) { return export_result(*o, console); }};
}

}  // namespace coldtune::cli
