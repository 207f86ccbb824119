// coldtune analyze: a capture in, resonance and Q out.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/bench_options.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/result_output.hpp"
#include "analyzer/measure/analysis.hpp"

namespace coldtune::cli {
namespace {

struct Options {
    std::string capture_path;
    BenchOptions bench;
    std::size_t period = 0;
    std::size_t settle = 1;
    bool settle_given = false;
    std::string shorted_path;
    OutputOptions output;
};

ExitCode analyze(const Options& o, Console& console) {
    auto request = make_request(o.bench);
    if (!request) return console.fail("analyze", request.error());
    auto capture = audio::read_capture(o.capture_path);
    if (!capture) {
        if (o.output.json) print_unreadable(console, request->hookup, capture.error().message);
        return console.fail("analyze", capture.error());
    }
    request->coil = std::move(*capture);
    if (!o.shorted_path.empty()) {
        auto shorted = audio::read_capture(o.shorted_path);
        if (!shorted) return console.fail("analyze", shorted.error());
        request->shorted = measure::Standard{std::move(*shorted), o.shorted_path};
    }
    if (o.period > 0) request->period_frames = o.period;
    if (o.settle_given) request->settle_periods = o.settle;
    const auto result = measure::analyze(*request);
    if (!result) return console.fail("analyze", result.error());
    return print_result(console, "analyze", *result, o.output);
}

}  // namespace

Command add_analyze(CLI::App& root) {
    auto o = std::make_shared<Options>();
    CLI::App* app = root.add_subcommand("analyze", "Find resonance and Q in a capture");
    app->add_option("CAPTURE", o->capture_path, "WAV or FLAC: channel 1 generator side, channel 2 coil side")
        ->required()
        ->type_name("CAPTURE");
    add_bench_options(*app, o->bench);
    add_coupled_flag(*app, o->bench);
    app->add_option("--period", o->period, "Frames in one period of the sweep; without it, any excitation")
        ->check(CLI::Range(64, 1 << 24));
    auto* settle =
        app->add_option("--settle", o->settle, "Periods dropped at the start (default 1)")->check(CLI::Range(0, 1000));
    app->add_option("--shorted", o->shorted_path,
                    "With --hookup winding: the same capture again with the primary shorted, for the coupling k")
        ->type_name("FILE");
    add_output_options(*app, o->output);
    return {app, [o, settle](Console& console) {
                o->settle_given = settle->count() > 0;
                return analyze(*o, console);
            }};
}

}  // namespace coldtune::cli
