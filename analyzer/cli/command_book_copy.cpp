// coldtune book copy: the book with all its captures under another name.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {
namespace {

struct Options {
    std::string book_path, target_path;
    bool json = false;
};

ExitCode copy(const Options& o, Console& console) {
    auto file = book::BookFile::open(o.book_path);
    if (!file) return console.fail("book copy", file.error());
    if (file->recovery()) console.say("coldtune book copy: " + file->recovery_text());
    if (const Status copied = file->save_as(o.target_path); !copied) return console.fail("book copy", copied.error());
    if (o.json) {
        record::Json json = book_head("coldtune.book-copy.v1", file->places(), {file->book(), {}});
        json["runs"] = file->book().runs.size();
        console.print(record::json_text(json) + "\n");
    } else {
        console.print(fmt::format("{} runs copied to {}\n", file->book().runs.size(), file->places().name()));
    }
    return ExitCode::done;
}

}  // namespace

Command add_book_copy(CLI::App& book) {
    auto o = std::make_shared<Options>();
    CLI::App* app = book.add_subcommand("copy", "Copy a book with all its captures");
    add_book_argument(*app, o->book_path);
    app->add_option("TARGET", o->target_path, "The copy, a name ending in .json that is not there yet")
        ->required()
        ->type_name("OTHER.json");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return copy(*o, console); }};
}

}  // namespace coldtune::cli
