// coldtune book restore: the saves before the present one, and back to one of them.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/earlier_saves.hpp"
#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {
namespace {

struct BookRestoreOptions {
    std::string book_path;
    std::optional<std::int64_t> save;
    bool json = false;
};

struct SaveInFolder {
    book::EarlierSave save;
    std::variant<book::Book, book::NoBook> content;
};

SaveInFolder read_save(const book::EarlierSave& save) {
    const auto text = record::read_text(save.path, book::longest_book_bytes);
    if (!text) return {save, book::NoBook{book::NoBook::Why::damaged, text.error().message}};
    return {save, book::parse_book(*text, save.path.string())};
}

ExitCode list(const BookRestoreOptions& o, const book::Places& places, Console& console) {
    record::Json json{{"schema", "coldtune.book-saves.v1"},
                      {"program_version", COLDTUNE_VERSION},
                      {"book", places.book.string()},
                      {"saves", record::Json::array()}};
    std::string text = fmt::format("{}   saves before the present one\n", places.name());
    const auto saves = book::earlier_saves(places);
    if (saves.empty()) {
        if (const auto any = book::read_book(places); !any) return console.fail("book restore", any.error());
    }
    for (const book::EarlierSave& save : saves) {
        const SaveInFolder read = read_save(save);
        const auto* whole = std::get_if<book::Book>(&read.content);
        record::Json line{{"save", save.number}, {"file", save.path.string()}, {"whole", whole != nullptr}};
        line["saved_utc"] = whole != nullptr ? record::Json(whole->saved_utc) : record::Json(nullptr);
        line["runs"] = whole != nullptr ? record::Json(whole->runs.size()) : record::Json(nullptr);
        json["saves"].push_back(std::move(line));
        text += whole != nullptr ? fmt::format("  save {:<6} {} UTC   {}\n", save.number, shown_time(whole->saved_utc),
                                               counted(whole->runs.size(), "run"))
                                 : fmt::format("  save {:<6} damaged: {}\n", save.number,
                                               std::get<book::NoBook>(read.content).sentence);
    }
    if (saves.empty()) text += "  none\n";
    console.print(o.json ? record::json_text(json) + "\n" : text);
    return ExitCode::done;
}

ExitCode restore(const BookRestoreOptions& o, Console& console) {
    const auto places = book::places_of(o.book_path);
    if (!places) return console.fail("book restore", places.error());
    if (!o.save) return list(o, *places, console);
    auto file = book::BookFile::open(o.book_path);
    if (!file) return console.fail("book restore", file.error());
    if (file->recovery()) console.say("coldtune book restore: " + file->recovery_text());
    const auto saves = book::earlier_saves(*places);
    const auto wanted = std::find_if(saves.begin(), saves.end(),
                                     [&](const auto& s) { return s.number == static_cast<std::uint64_t>(*o.save); });
    if (wanted == saves.end()) {
        return console.fail("book restore", usage_error(fmt::format("there is no save {}; see coldtune book restore {}",
                                                                    *o.save, places->name())));
    }
    SaveInFolder read = read_save(*wanted);
    if (const auto* fault = std::get_if<book::NoBook>(&read.content)) {
        return console.fail("book restore", bad_input(fault->sentence));
    }
    // The present book becomes an earlier save itself: nothing is lost by going back. Numbers go on from where they
    // are.
    book::Book back = std::get<book::Book>(std::move(read.content));
    back.save_number = file->book().save_number;
    back.last_run_number = std::max(back.last_run_number, file->book().last_run_number);
    const std::size_t runs = back.runs.size();
    const auto altered = book::mark_alterations(back);
    if (const std::string line = book::alterations_line(altered, *places); !line.empty())
        console.say(fmt::format("coldtune book restore: save {} of {}", *o.save, line));
    file->book() = std::move(back);
    if (const Status saved = file->save(); !saved) return console.fail("book restore", saved.error());
    if (o.json) {
        record::Json json = book_head("coldtune.book-restored.v1", file->places(), {file->book(), {}, altered});
        json["restored_save"] = *o.save;
        json["runs"] = runs;
        console.print(record::json_text(json) + "\n");
    } else {
        console.print(fmt::format("{} is again as of save {}, with {}; this is save {}\n", file->places().name(),
                                  *o.save, counted(runs, "run"), file->book().save_number));
    }
    return ExitCode::done;
}

}  // namespace

Command add_book_restore(CLI::App& book) {
    auto o = std::make_shared<BookRestoreOptions>();
    CLI::App* app = book.add_subcommand("restore", "List the earlier saves of a book, or go back to one");
    add_book_argument(*app, o->book_path);
    app->add_option("--save", o->save, "Go back to this one; what is there now is kept as an earlier save")
        ->check(CLI::Range(std::int64_t{1}, std::int64_t{1} << 53))
        ->type_name("NUMBER");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return restore(*o, console); }};
}

}  // namespace coldtune::cli
