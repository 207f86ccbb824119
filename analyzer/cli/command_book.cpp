// coldtune book: what the bench book holds, and what is done with it.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <nlohmann/json.hpp>
#include <vector>

#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {

Command add_book(CLI::App& root) {
    CLI::App* app =
        root.add_subcommand("book", "The bench book: list, show, check and export its runs, add runs and notes");
    app->require_subcommand(1);
    const std::vector<Command> commands = {add_book_list(*app), add_book_show(*app),  add_book_add(*app),
                                           add_book_note(*app), add_book_check(*app), add_book_restore(*app),
                                           add_book_copy(*app), add_book_export(*app)};
    return {app, [commands](Console& console) {
                for (const Command& command : commands) {
                    if (command.app->parsed()) return command.run(console);
                }
                return ExitCode::usage;
            }};
}

void add_book_argument(CLI::App& app, std::string& path) {
    app.add_option("BOOK", path, "The bench book, a file whose name ends in .json")->required()->type_name("BOOK.json");
}

Result<LookedAt> look_into(const Console& console, std::string_view command, const std::string& path) {
    auto places = book::places_of(path);
    if (!places) return places.error();
    auto opened = book::read_book(*places);
    if (!opened) return opened.error();
    if (opened->recovery) {
        console.say(fmt::format("coldtune {}: {}", command, book::recovery_sentence(*opened, *places)));
    }
    return LookedAt{std::move(*places), std::move(*opened)};
}

nlohmann::ordered_json book_head(std::string_view schema, const book::Places& places, const book::OpenedBook& opened) {
    record::Json json;
    json["schema"] = schema;
    json["program_version"] = COLDTUNE_VERSION;
    json["book"] = places.book.string();
    json["save_number"] = opened.book.save_number;
    json["saved_utc"] = opened.book.saved_utc.empty() ? record::Json(nullptr) : record::Json(opened.book.saved_utc);
    json["recovered"] = nullptr;
    if (opened.recovery) {
        json["recovered"] = {{"cause", opened.recovery->cause},
                             {"opened", opened.recovery->opened.string()},
                             {"files_after_it", opened.recovery->files_after_it}};
    }
    return json;
}

std::string shown_time(std::string_view time_utc) {
    std::string text(time_utc.substr(0, 19));
    if (text.size() == 19) text[10] = ' ';
    return text;
}

}  // namespace coldtune::cli
