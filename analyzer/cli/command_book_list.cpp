// coldtune book list: the runs, newest last.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/runs.hpp"
#include "analyzer/cli/book_commands.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

using record::Json;
using record::Unit;

struct BookListOptions {
    std::string book_path;
    bool json = false;
};

Json list_json(const LookedAt& looked) {
    const book::Book& b = looked.opened.book;
    Json json = book_head("coldtune.book-list.v1", looked.places, looked.opened);
    json["created_utc"] = b.created_utc;
    json["coils"] = b.coils.size();
    json["interfaces"] = b.interfaces.size();
    json["captures"] = b.captures.size();
    json["runs"] = Json::array();
    for (const book::Run& run : b.runs) {
        const book::Headline h = book::headline_of(run);
        json["runs"].push_back({{"number", run.number},
                                {"name", run.name},
                                {"time_utc", run.time_utc},
                                {"hookup", bench::describe(run.hookup).name},
                                {"coil", run.coil > 0 ? Json(run.coil) : Json(nullptr)},
                                {"verdict", h.verdict},
                                {"way", h.way.empty() ? Json(nullptr) : Json(h.way)},
                                {"frequency_hz", record::number_or_null(h.resonance_hz)},
                                {"frequency_u95_hz", record::number_or_null(h.resonance_u95_hz)},
                                {"q", record::number_or_null(h.q)},
                                {"inductance_h", record::number_or_null(h.inductance_h)},
                                {"inductance_u95_h", record::number_or_null(h.inductance_u95_h)},
                                {"primary_frequency_hz", record::number_or_null(h.primary_hz)},
                                {"secondary_frequency_hz", record::number_or_null(h.secondary_hz)},
                                {"k", record::number_or_null(h.k)},
                                {"k_u95", record::number_or_null(h.k_u95)},
                                {"notes", run.notes.size()}});
    }
    return json;
}

std::string list_text(const LookedAt& looked) {
    const book::Book& b = looked.opened.book;
    std::string out =
        fmt::format("{}   save {} of {} UTC\n", looked.places.name(), b.save_number, shown_time(b.saved_utc));
    out += fmt::format("  {}, {}, {}, {}\n", counted(b.runs.size(), "run"), counted(b.coils.size(), "coil version"),
                       counted(b.interfaces.size(), "interface"), counted(b.captures.size(), "capture"));
    if (b.runs.empty()) return out;
    out += fmt::format("  {:>5}  {:<19}  {:<8} {:>4}  {:<8}  {:<26} {:>6}  {}\n", "run", "time (UTC)", "hookup", "coil",
                       "verdict", "resonance, inductance", "Q", "name");
    for (const book::Run& run : b.runs) {
        const book::Headline h = book::headline_of(run);
        std::string value = "-";
        if (h.resonance_hz && h.resonance_u95_hz) {
            value = record::format_with_uncertainty(*h.resonance_hz, *h.resonance_u95_hz, Unit::hertz);
        } else if (h.inductance_h && h.inductance_u95_h) {
            value = record::format_with_uncertainty(*h.inductance_h, *h.inductance_u95_h, Unit::henry);
        } else if (h.k && h.k_u95) {
            value = "pair, k " + record::format_with_uncertainty(*h.k, *h.k_u95, Unit::none);
        }
        out += fmt::format("  {:>5}  {:<19}  {:<8} {:>4}  {:<8}  {:<26} {:>6}  {}{}\n", run.number,
                           shown_time(run.time_utc), bench::describe(run.hookup).name,
                           run.coil > 0 ? std::to_string(run.coil) : "-", h.verdict, value,
                           h.q ? fmt::format("{:.1f}", *h.q) : "-", run.name,
                           run.notes.empty() ? "" : fmt::format("  ({})", run.notes.back().text));
    }
    return out;
}

ExitCode list(const BookListOptions& o, Console& console) {
    const auto looked = look_into(console, "book list", o.book_path);
    if (!looked) return console.fail("book list", looked.error());
    if (const std::size_t unsealed = book::unsealed_runs(looked->opened.book); unsealed > 0) {
        console.say(fmt::format(
            "coldtune book list: {}: {} of before there were seals; coldtune book check holds {} against what was kept",
            looked->places.name(), counted(unsealed, "run"), unsealed == 1 ? "it" : "them"));
    }
    console.print(o.json ? record::json_text(list_json(*looked)) + "\n" : list_text(*looked));
    return ExitCode::done;
}

}  // namespace

Command add_book_list(CLI::App& book) {
    auto o = std::make_shared<BookListOptions>();
    CLI::App* app = book.add_subcommand("list", "The runs of a book, newest last");
    add_book_argument(*app, o->book_path);
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return list(*o, console); }};
}

}  // namespace coldtune::cli
