// coldtune book export: a run of the book as a file for other programs.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/runs.hpp"
#include "analyzer/cli/book_commands.hpp"
#include "analyzer/cli/export_options.hpp"
#include "analyzer/measure/kept_result.hpp"

namespace coldtune::cli {
namespace {

struct BookExportOptions {
    std::string book_path, run;
    ExportOptions to;
};

ExitCode export_run(const BookExportOptions& o, Console& console) {
    const auto plot = asks_for_plot(o.to);
    if (!plot) return console.fail("book export", plot.error());
    auto looked = look_into(console, "book export", o.book_path);
    if (!looked) return console.fail("book export", looked.error());
    const auto run = look_at_run(console, "book export", *looked, o.run);
    if (!run) return console.fail("book export", run.error());
    auto result = book::kept_result(looked->places, **run);
    if (!result) return console.fail("book export", result.error());
    ExportSource source{.name = fmt::format("run {} of {}", (*run)->number, looked->places.name()),
                        .label = (*run)->name,
                        .origin = fmt::format("{}, run {}", looked->places.book.filename().string(), (*run)->number),
                        .result = std::move(*result),
                        .only_curve = false,
                        .coil = {}};
    if (*plot && (*run)->coil > 0) {
        auto coil = book::description_of(looked->opened.book, **run);
        if (!coil) return console.fail("book export", coil.error());
        source.coil = std::move(*coil);
    }
    return write_export(o.to, source, "book export", console);
}

}  // namespace

Command add_book_export(CLI::App& book) {
    auto o = std::make_shared<BookExportOptions>();
    CLI::App* app = book.add_subcommand("export", "Write a run for other programs: Touchstone, CSV, SPICE, SVG");
    add_book_argument(*app, o->book_path);
    app->add_option("RUN", o->run, "Its number, or its name")->required()->type_name("RUN");
    add_export_options(*app, o->to);
    return {app, [o](Console& console) { return export_run(*o, console); }};
}

}  // namespace coldtune::cli
