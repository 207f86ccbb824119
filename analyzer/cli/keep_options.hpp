// How `analyze`, `measure` and `book add` bring a run into a bench book.
#pragma once

#include <optional>
#include <string>

#include "analyzer/book/runs.hpp"
#include "analyzer/cli/capture_options.hpp"
#include "analyzer/cli/console.hpp"

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace coldtune::cli {

struct KeepOptions {
    std::string book_path;  // "" = not kept
    std::optional<std::string> name, note;
    std::string keep_as = "flac";
};

// --name, --note and --keep; `of_book`, when given, is the option they make no sense without.
void add_keep_options(CLI::App& app, KeepOptions& options, CLI::Option* of_book = nullptr);
// --book and the options above.
void add_book_option(CLI::App& app, KeepOptions& options);

// Everything but the capture itself. Errors (usage) also for a name or a note that cannot be kept: before any sweep.
Result<book::NewRun> new_run(const BenchOptions& bench, const KeepOptions& keep);
Result<book::NewRun> new_run(const CaptureOptions& capture, const KeepOptions& keep);

// Opens or makes the book, and says what is to be known of it (say_opened).
Result<book::BookFile> open_book(const Console& console, std::string_view command, const std::string& path);

// Says on standard error where the run went, or that the book could not be saved.
ExitCode save_and_say(const Console& console, std::string_view command, book::BookFile& file,
                      const book::AddedRun& added);

}  // namespace coldtune::cli
