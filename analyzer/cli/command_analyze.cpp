// coldtune analyze: a capture in, resonance and Q out.
#include <CLI/CLI.hpp>
#include <memory>

#include "analyzer/cli/capture_options.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/keep_options.hpp"
#include "analyzer/cli/result_output.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/long_capture.hpp"

namespace coldtune::cli {
namespace {

struct AnalyzeOptions {
    CaptureOptions capture;
    KeepOptions keep;
    OutputOptions output;
};

// Into the book first: what is printed is what the kept captures give.
ExitCode analyze_and_keep(const AnalyzeOptions& o, Console& console) {
    auto run = new_run(o.capture, o.keep);
    if (!run) return console.fail("analyze", run.error());
    auto file = open_book(console, "analyze", o.keep.book_path);
    if (!file) return console.fail("analyze", file.error());
    const auto added = book::add_run(*file, std::move(*run));
    if (!added) return console.fail("analyze", added.error());
    const ExitCode kept = save_and_say(console, "analyze", *file, *added);
    const ExitCode code = print_result(console, "analyze", added->result, o.output);
    return kept != ExitCode::done ? kept : code;
}

// A file that cannot be used is a finding for whoever reads the JSON, whichever of the files it is.
ExitCode refuse(const AnalyzeOptions& o, Console& console, const Error& error) {
    if (o.output.json && error.kind == ErrorKind::bad_input) {
        print_unreadable(console, *bench::hookup_from_name(o.capture.bench.hookup_name), error.message);
    }
    return console.fail("analyze", error);
}

// Hours of a periodic stimulus, piece by piece.
ExitCode analyze_long(const AnalyzeOptions& o, measure::AnalysisRequest request, Console& console) {
    if (!o.keep.book_path.empty() || !o.capture.shorted_path.empty()) {
        return console.fail("analyze", usage_error(o.capture.capture_path +
                                                   ": too long to be kept in a book or to be compared with --shorted; "
                                                   "cut it, or analyze it alone"));
    }
    auto condensed = measure::condense(o.capture.capture_path, request.hookup, o.capture.period, o.capture.settle);
    if (!condensed) return refuse(o, console, condensed.error());
    const auto result = measure::analyze_condensed(std::move(request), std::move(*condensed));
    if (!result) return refuse(o, console, result.error());
    return print_result(console, "analyze", *result, o.output);
}

ExitCode analyze(const AnalyzeOptions& o, Console& console) {
    auto request = make_request(o.capture.bench);
    if (!request) return refuse(o, console, request.error());
    if (measure::is_long_capture(o.capture.capture_path)) return analyze_long(o, std::move(*request), console);
    auto capture = audio::read_capture(o.capture.capture_path);
    if (!capture) return refuse(o, console, capture.error());
    if (!o.keep.book_path.empty()) return analyze_and_keep(o, console);
    request->coil = std::move(*capture);
    request->coil_name = o.capture.capture_path;
    if (!o.capture.shorted_path.empty()) {
        auto shorted = audio::read_capture(o.capture.shorted_path);
        if (!shorted) return refuse(o, console, shorted.error());
        request->shorted = measure::Standard{std::move(*shorted), o.capture.shorted_path};
    }
    request->period_frames = o.capture.period;
    request->settle_periods = o.capture.settle;
    const auto result = measure::analyze(*request);
    if (!result) return refuse(o, console, result.error());
    return print_result(console, "analyze", *result, o.output);
}

}  // namespace

Command add_analyze(CLI::App& root) {
    auto o = std::make_shared<AnalyzeOptions>();
    CLI::App* app = root.add_subcommand("analyze", "Find resonance and Q in a capture");
    add_capture_options(*app, o->capture);
    add_book_option(*app, o->keep);
    add_output_options(*app, o->output);
    return {app, [o](Console& console) { return analyze(*o, console); }};
}

}  // namespace coldtune::cli
