// coldtune book add: a capture in, analysed and kept.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/book_json.hpp"
#include "analyzer/cli/book_commands.hpp"
#include "analyzer/cli/keep_options.hpp"
#include "analyzer/cli/result_output.hpp"
#include "analyzer/measure/result_json.hpp"

namespace coldtune::cli {
namespace {

struct BookAddOptions {
    std::string book_path;
    CaptureOptions capture;
    KeepOptions keep;
    OutputOptions output;
};

ExitCode add(const BookAddOptions& o, Console& console) {
    auto run = new_run(o.capture, o.keep);
    if (!run) return console.fail("book add", run.error());
    auto file = open_book(console, "book add", o.book_path);
    if (!file) return console.fail("book add", file.error());
    const auto added = book::add_run(*file, std::move(*run));
    if (!added) return console.fail("book add", added.error());
    // One object that holds the analysis' own: a program needs to know where the run went.
    const ExitCode kept = save_and_say(console, "book add", *file, *added);
    if (!o.output.json) {
        const ExitCode code = print_result(console, "book add", added->result, o.output);
        return kept != ExitCode::done ? kept : code;
    }
    record::Json json =
        book_head("coldtune.book-added.v1", file->places(), {file->book(), file->recovery(), file->alterations()});
    json["run"] = kept == ExitCode::done ? record::Json(added->number) : record::Json(nullptr);
    json["remarks"] = added->remarks;
    json["result"] = measure::to_json(added->result, o.output.curve);
    console.print(record::json_text(json) + "\n");
    return kept != ExitCode::done ? kept : verdict_code(console, "book add", added->result);
}

}  // namespace

Command add_book_add(CLI::App& book) {
    auto o = std::make_shared<BookAddOptions>();
    CLI::App* app =
        book.add_subcommand("add", "Analyse a capture and keep it as a run; makes the book if there is none");
    add_book_argument(*app, o->book_path);
    add_capture_options(*app, o->capture);
    add_keep_options(*app, o->keep);
    add_output_options(*app, o->output);
    return {app, [o](Console& console) { return add(*o, console); }};
}

}  // namespace coldtune::cli
