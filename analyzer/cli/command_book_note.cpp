// coldtune book note: a sentence on a run, kept with its time.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/runs.hpp"
#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {
namespace {

struct BookNoteOptions {
    std::string book_path, run, text;
    bool json = false;
};

ExitCode note(const BookNoteOptions& o, Console& console) {
    auto file = book::BookFile::open(o.book_path);
    if (!file) return console.fail("book note", file.error());
    say_opened(console, "book note", *file);
    const auto run = book::choose_run(file->book(), o.run);
    if (!run) return console.fail("book note", run.error());
    const int number = (*run)->number;
    if (const Status noted = book::add_note(file->book(), number, o.text); !noted) {
        return console.fail("book note", noted.error());
    }
    if (const Status saved = file->save(); !saved) return console.fail("book note", saved.error());
    if (o.json) {
        record::Json json = book_head("coldtune.book-note.v1", file->places(), {file->book(), {}, file->alterations()});
        json["run"] = number;
        json["notes"] = file->book().find_run(number)->notes.size();
        console.print(record::json_text(json) + "\n");
    } else {
        console.print(fmt::format("noted on run {} in {}\n", number, file->places().name()));
    }
    return ExitCode::done;
}

}  // namespace

Command add_book_note(CLI::App& book) {
    auto o = std::make_shared<BookNoteOptions>();
    CLI::App* app = book.add_subcommand("note", "Write a note on a run");
    add_book_argument(*app, o->book_path);
    app->add_option("RUN", o->run, "Its number, or its name")->required()->type_name("RUN");
    app->add_option("TEXT", o->text, "The note, of one line")->required()->type_name("TEXT");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return note(*o, console); }};
}

}  // namespace coldtune::cli
