#include "analyzer/cli/keep_options.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>

#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {

void add_keep_options(CLI::App& app, KeepOptions& o, CLI::Option* of_book) {
    auto* name = app.add_option("--name", o.name, "What the run is called in the book (default: the capture's name)")
                     ->type_name("TEXT");
    auto* note = app.add_option("--note", o.note, "A note on the run, of one line")->type_name("TEXT");
    auto* keep = app.add_option("--keep", o.keep_as,
                                "How captures are kept beside the book: flac (default) or wav, both without loss")
                     ->check(CLI::IsMember({"flac", "wav"}))
                     ->type_name("FORMAT");
    if (of_book == nullptr) return;
    for (CLI::Option* option : {name, note, keep}) option->needs(of_book);
}

void add_book_option(CLI::App& app, KeepOptions& o) {
    auto* book = app.add_option("--book", o.book_path, "Keep the run, with its captures, in this bench book")
                     ->type_name("BOOK.json");
    add_keep_options(app, o, book);
}

Result<book::NewRun> new_run(const BenchOptions& bench, const KeepOptions& keep) {
    auto declared = declared_bench(bench);
    if (!declared) return declared.error();
    book::NewRun run;
    if (keep.name) {
        if (const Status sound = book::check_name(*keep.name); !sound) return sound.error();
        run.name = *keep.name;
    }
    if (keep.note) {
        if (const Status sound = book::check_note(*keep.note); !sound) return sound.error();
        run.note = *keep.note;
    }
    run.keep_as = keep.keep_as == "wav" ? book::KeepAs::wav : book::KeepAs::flac;
    run.hookup = declared->hookup;
    run.open = bench.open_path;
    run.short_circuit = bench.short_path;
    run.load = bench.load_path;
    run.bench = declared->bench;
    run.tolerances = declared->tolerances;
    run.coupled = declared->coupled;
    run.coil = bench.coil_path;
    return run;
}

Result<book::NewRun> new_run(const CaptureOptions& capture, const KeepOptions& keep) {
    auto run = new_run(capture.bench, keep);
    if (!run) return run;
    run->capture = std::filesystem::path(capture.capture_path);
    run->shorted = capture.shorted_path;
    run->period_frames = capture.period;
    run->settle_periods = capture.settle;
    return run;
}

Result<book::BookFile> open_book(const Console& console, std::string_view command, const std::string& path) {
    auto file = book::BookFile::open_or_create(path);
    if (file) say_opened(console, command, *file);
    return file;
}

ExitCode save_and_say(const Console& console, std::string_view command, book::BookFile& file,
                      const book::AddedRun& added) {
    // First of all: whoever reads what is said may have gone, and that ends a program.
    const Status saved = file.save();
    for (const std::string& remark : added.remarks) console.say(fmt::format("coldtune {}: {}", command, remark));
    if (!saved) {
        // The captures are safe in their folder; only the book does not speak of them.
        return console.fail(
            command, Error{saved.error().kind, fmt::format("{}; the captures are in {}, add them again",
                                                           saved.error().message, file.places().captures.string())});
    }
    console.say(fmt::format("coldtune {}: kept as run {} in {}", command, added.number, file.places().name()));
    return ExitCode::done;
}

}  // namespace coldtune::cli
