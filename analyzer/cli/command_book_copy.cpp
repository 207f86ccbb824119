// coldtune book copy: the book with all its captures under another name.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {
namespace {

struct BookCopyOptions {
    std::string book_path, target_path;
    bool json = false;
};

ExitCode copy(const BookCopyOptions& o, Console& console) {
    auto file = book::BookFile::open(o.book_path);
    if (!file) return console.fail("book copy", file.error());
    if (file->recovery()) console.say("coldtune book copy: " + file->recovery_text());
    const auto faults = file->save_as(o.target_path);
    if (!faults) return console.fail("book copy", faults.error());
    for (const std::string& fault : *faults) console.say("coldtune book copy: " + fault);
    const std::string altered = book::alterations_line(file->alterations(), file->places());
    if (o.json) {
        record::Json json = book_head("coldtune.book-copy.v1", file->places(), {file->book(), {}, file->alterations()});
        json["runs"] = file->book().runs.size();
        json["faults"] = *faults;
        console.print(record::json_text(json) + "\n");
    } else {
        console.print(
            fmt::format("{} copied to {}\n", counted(file->book().runs.size(), "run"), file->places().name()));
    }
    if (!faults->empty()) {
        return console.fail(
            "book copy",
            bad_input(fmt::format("{}: copied, but {} not as kept, in the copy as in the book; put sound "
                                  "ones into both",
                                  file->places().name(),
                                  counted(faults->size(), "file") + (faults->size() == 1 ? " is" : " are"))));
    }
    if (!altered.empty()) return console.fail("book copy", bad_input(altered));
    return ExitCode::done;
}

}  // namespace

Command add_book_copy(CLI::App& book) {
    auto o = std::make_shared<BookCopyOptions>();
    CLI::App* app = book.add_subcommand("copy", "Copy a book with all its captures");
    add_book_argument(*app, o->book_path);
    app->add_option("TARGET", o->target_path, "The copy, a name ending in .json that is not there yet")
        ->required()
        ->type_name("OTHER.json");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return copy(*o, console); }};
}

}  // namespace coldtune::cli
