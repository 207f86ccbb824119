// coldtune book check: whether everything is as it was kept.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/check.hpp"
#include "analyzer/cli/book_commands.hpp"

namespace coldtune::cli {
namespace {

struct BookCheckOptions {
    std::string book_path;
    bool again = false, json = false;
};

record::Json report_json(const LookedAt& looked, const book::CheckReport& report, bool again) {
    record::Json json = book_head("coldtune.book-check.v1", looked.places, looked.opened);
    json["sound"] = report.sound();
    json["files"] = report.files;
    json["runs"] = report.runs;
    json["runs_again"] = again ? record::Json(report.runs_again) : record::Json(nullptr);
    json["runs_same"] = again ? record::Json(report.runs_same) : record::Json(nullptr);
    json["findings"] = record::Json::array();
    for (const book::CheckFinding& f : report.findings) {
        json["findings"].push_back({{"wrong", f.wrong}, {"where", f.where}, {"text", f.sentence}});
    }
    return json;
}

std::string report_text(const LookedAt& looked, const book::CheckReport& report, bool again) {
    std::string out = fmt::format("{}   save {} of {} UTC\n", looked.places.name(), looked.opened.book.save_number,
                                  shown_time(looked.opened.book.saved_utc));
    out += fmt::format("  {}, {} looked at\n", counted(report.runs, "run"), counted(report.files, "kept file"));
    if (again)
        out += fmt::format("  {} analysed again, {} of them the same bit for bit\n", counted(report.runs_again, "run"),
                           report.runs_same);
    for (const book::CheckFinding& f : report.findings) {
        out += fmt::format("  - {}{}\n      {}\n", f.where, f.wrong ? "" : " (no fault)", f.sentence);
    }
    out += report.sound() ? "  all is as it was kept\n" : "";
    return out;
}

ExitCode check(const BookCheckOptions& o, Console& console) {
    auto places = book::places_of(o.book_path);
    if (!places) return console.fail("book check", places.error());
    auto opened = book::read_book(*places);
    if (!opened) return console.fail("book check", opened.error());
    const LookedAt looked{std::move(*places), std::move(*opened)};
    // Analysing takes about half a second a run: a big book says now and then how far it is.
    auto said = std::chrono::steady_clock::now();
    const auto progress = [&](int run) {
        const auto now = std::chrono::steady_clock::now();
        if (now - said < std::chrono::seconds(3)) return;
        said = now;
        console.say(fmt::format("analysing run {} of {}", run, looked.opened.book.last_run_number));
    };
    book::CheckReport report = book::check_book(looked.opened.book, looked.places, o.again, progress);
    if (looked.opened.recovery) {
        report.findings.insert(report.findings.begin(),
                               {true, "the book", book::recovery_sentence(looked.opened, looked.places)});
    }
    console.print(o.json ? record::json_text(report_json(looked, report, o.again)) + "\n"
                         : report_text(looked, report, o.again));
    if (report.sound()) return ExitCode::done;
    for (const book::CheckFinding& f : report.findings) {
        if (f.wrong) return console.fail("book check", bad_input(fmt::format("{}: {}", f.where, f.sentence)));
    }
    return ExitCode::bad_input;
}

}  // namespace

Command add_book_check(CLI::App& book) {
    auto o = std::make_shared<BookCheckOptions>();
    CLI::App* app = book.add_subcommand("check", "Look whether book and captures are as they were kept");
    add_book_argument(*app, o->book_path);
    app->add_flag("--again", o->again, "Analyse every run again and compare with what is stored");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return check(*o, console); }};
}

}  // namespace coldtune::cli
