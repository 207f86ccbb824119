// coldtune book: what the bench book holds, and what is done with it.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <nlohmann/json.hpp>
#include <vector>

#include "analyzer/book/kept_files.hpp"
#include "analyzer/cli/book_commands.hpp"
#include "analyzer/record/plain_text.hpp"

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
    LookedAt looked{std::move(*places), std::move(*opened)};
    looked.opened.alterations = book::settle_alterations(looked.opened.book, looked.places);
    for (const book::Alteration& a : looked.opened.alterations) {
        console.say(fmt::format("coldtune {}: {}: {}", command, looked.places.name(), a.text()));
    }
    return looked;
}

Result<const book::Run*> look_at_run(const Console& console, std::string_view command, LookedAt& looked,
                                     std::string_view run) {
    const auto chosen = book::choose_run(looked.opened.book, run);
    if (!chosen) return chosen;
    const auto same = std::find_if(looked.opened.book.runs.begin(), looked.opened.book.runs.end(),
                                   [&](const book::Run& r) { return r.number == (*chosen)->number; });
    for (book::Alteration& a : book::settle_unsealed(*same, looked.places)) {
        console.say(fmt::format("coldtune {}: {}: {}", command, looked.places.name(), a.text()));
        looked.opened.alterations.push_back(std::move(a));
    }
    return &*same;
}

void say_opened(const Console& console, std::string_view command, const book::BookFile& file) {
    const auto say = [&](const std::string& line) {
        if (!line.empty()) console.say(fmt::format("coldtune {}: {}", command, line));
    };
    if (file.recovery()) say(file.recovery_text());
    say(book::alterations_line(file.alterations(), file.places()));
    if (file.book().save_number == 0) {
        if (const auto unknown = book::unknown_files(file.book(), file.places()); !unknown.empty()) {
            say(fmt::format("{}: a new book, though {} of an earlier one in {}; put that book back if it was not meant",
                            file.places().name(),
                            counted(unknown.size(), "file") + (unknown.size() == 1 ? " lies" : " lie"),
                            record::one_line(file.places().captures.string(), 200)));
        }
    }
    const auto missing = book::missing_files(file.book(), file.places());
    if (missing.empty()) return;
    if (const Status folder = book::require_folder(file.places().captures, false); !folder) {
        say(fmt::format("{} ({} of the book lie in it)", folder.error().message, counted(missing.size(), "kept file")));
    } else {
        say(fmt::format("{}: {} missing, first {}; coldtune book check names all, put them back",
                        record::one_line(file.places().captures.string(), 200),
                        counted(missing.size(), "kept file") + (missing.size() == 1 ? " is" : " are"),
                        missing.front()));
    }
}

std::string counted(std::size_t number, std::string_view what) {
    return fmt::format("{} {}{}", number, what, number == 1 ? "" : "s");
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
                             {"lost", opened.recovery->lost},
                             {"files_after_it", opened.recovery->files_after_it}};
    }
    json["altered"] = record::Json::array();
    for (const book::Alteration& a : opened.alterations) {
        json["altered"].push_back({{"where", a.where}, {"restored", a.restored}, {"text", a.sentence}});
    }
    return json;
}

std::string shown_time(std::string_view time_utc) {
    std::string text(time_utc.substr(0, 19));
    if (text.size() == 19) text[10] = ' ';
    return text;
}

}  // namespace coldtune::cli
