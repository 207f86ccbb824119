// coldtune report: kept results, or a bench book, on a few pages of HTML.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <filesystem>
#include <iterator>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/book_commands.hpp"
#include "analyzer/cli/output_target.hpp"
#include "analyzer/measure/kept_result.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/share/report_book.hpp"
#include "analyzer/share/report_tuning.hpp"

namespace coldtune::cli {
namespace {

namespace fs = std::filesystem;

struct ReportOptions {
    std::vector<std::string> sources, runs;
    std::string coil_path, out, title, note;
    double allowance = tuning::kDefaultAllowance;
    bool json = false;
};

// What the files hold, in the order they were given.
struct Gathered {
    share::Report report;
    std::vector<measure::KnownResult> known;
    std::optional<model::CoilDescription> tank_coil;  // to tune with
    std::string tank_coil_name;
};

Status take_result(const std::string& path, Gathered& into) {
    auto result = measure::read_kept_result(path);
    if (!result) return result.error();
    share::ReportRun run;
    run.name = fs::path(path).stem().string();
    run.time_utc = result->bench.time_utc;
    run.device = result->bench.device;
    if (result->bench.reference_ohm > 0) {
        run.reference = record::format_quantity(result->bench.reference_ohm, record::Unit::ohm, 4, true);
    }
    run.result = std::move(*result);
    into.report.runs.push_back(std::move(run));
    // A standard or a rejected run has nothing to tune with.
    if (auto known = measure::read_any_result(path)) into.known.push_back(std::move(*known));
    return Done{};
}

Status take_book(const ReportOptions& o, const std::string& path, Console& console, Gathered& into) {
    const auto looked = look_into(console, "report", path);
    if (!looked) return looked.error();
    auto pages = share::pages_of(looked->opened.book, looked->places, o.runs);
    if (!pages) return pages.error();
    for (const std::string& remark : pages->remarks) console.say("coldtune report: " + remark);
    share::Report& report = into.report;
    // On paper nobody reads what was said on the screen.
    for (const book::Alteration& a : looked->opened.alterations) report.remarks.push_back(a.text());
    report.remarks.insert(report.remarks.end(), pages->remarks.begin(), pages->remarks.end());
    if (looked->opened.recovery) {
        report.remarks.push_back(fmt::format("the book was damaged; save {} of {} was opened in its place",
                                             looked->opened.book.save_number, looked->opened.book.saved_utc));
    }
    report.runs.insert(report.runs.end(), std::make_move_iterator(pages->runs.begin()),
                       std::make_move_iterator(pages->runs.end()));
    into.known.insert(into.known.end(), std::make_move_iterator(pages->known.begin()),
                      std::make_move_iterator(pages->known.end()));
    report.coil = std::move(pages->coil);
    report.coil_version = pages->coil_version;
    into.tank_coil = std::move(pages->tank_coil);
    into.tank_coil_name = pages->tank_coil_name;
    return Done{};
}

Result<Gathered> gather(const ReportOptions& o, Console& console) {
    Gathered all;
    const auto books =
        std::count_if(o.sources.begin(), o.sources.end(), [](const std::string& path) { return book::is_book(path); });
    if (books > 1) return usage_error("one book at a time: every book counts runs and coils by itself");
    if (books == 0 && !o.runs.empty()) return usage_error("--run chooses runs of a book, and none was given");
    std::string sources;
    for (const std::string& path : o.sources) {
        const Status taken = book::is_book(path) ? take_book(o, path, console, all) : take_result(path, all);
        if (!taken) return taken.error();
        sources += (sources.empty() ? "" : ", ") + fs::path(path).filename().string();
    }
    if (!o.coil_path.empty()) {
        auto coil = record::read_coil(o.coil_path);
        if (!coil) return coil.error();
        all.report.coil = std::move(*coil);
        // The one for all runs, whatever they were analysed with.
        all.report.coil_version = 0;
        for (share::ReportRun& run : all.report.runs) run.coil_version = 0;
        all.tank_coil = all.report.coil;
        all.tank_coil_name = o.coil_path;
        sources += ", " + fs::path(o.coil_path).filename().string();
    }
    all.report.title = o.title;
    all.report.note = o.note;
    all.report.provenance = share::provenance_of(sources);
    return all;
}

// The verdict, where there are a secondary and a tank to give one.
void add_tuning(const ReportOptions& o, Console& console, Gathered& all) {
    all.report.no_tuning = share::why_no_tuning(all.known, all.tank_coil ? &*all.tank_coil : nullptr);
    if (!all.tank_coil) return;
    auto request = share::tune_request(all.known, *all.tank_coil, all.tank_coil_name);
    if (!request) return;
    request->allowance = o.allowance;
    auto words = share::tuning_words(*request);
    if (words) {
        all.report.tuning = std::move(*words);
    } else {
        all.report.no_tuning = words.error().message;
        console.say(fmt::format("coldtune report: nothing is said about the tuning: {}", words.error().message));
    }
}

ExitCode write_report(const ReportOptions& o, Console& console) {
    std::vector<std::string> inputs = o.sources;
    inputs.push_back(o.coil_path);
    if (const Status free = check_target(o.out, inputs); !free) return console.fail("report", free.error());
    auto all = gather(o, console);
    if (!all) return console.fail("report", all.error());
    add_tuning(o, console, *all);
    const auto html = share::report_html(all->report);
    if (!html) return console.fail("report", html.error());
    if (Status written = record::write_file_atomically(o.out, *html); !written) {
        return console.fail("report", written.error());
    }
    const std::size_t runs = all->report.runs.size();
    if (o.json) {
        record::Json j;
        j["schema"] = "coldtune.report.v1";
        j["program_version"] = COLDTUNE_VERSION;
        j["file"] = o.out;
        j["runs"] = runs;
        j["bytes"] = html->size();
        j["no_tuning"] = all->report.tuning ? record::Json(nullptr) : record::Json(all->report.no_tuning);
        j["remarks"] = all->report.remarks;
        console.print(record::json_text(j) + "\n");
    } else {
        console.print(fmt::format("{} written ({})\n", o.out, counted(runs, "run")));
        if (!all->report.tuning) console.print(fmt::format("  without the tuning: {}\n", all->report.no_tuning));
    }
    return ExitCode::done;
}

}  // namespace

Command add_report(CLI::App& root) {
    auto o = std::make_shared<ReportOptions>();
    CLI::App* app =
        root.add_subcommand("report", "Put a book or results on a few pages: one HTML file that prints well");
    app->add_option("SOURCE", o->sources, "A bench book, or outputs of analyze --json --curve, oldest first")
        ->required()
        ->type_name("BOOK.json|RESULT.json");
    app->add_option("--out", o->out, "HTML file to write")->required()->type_name("REPORT.html");
    app->add_option("--run", o->runs, "A run of the book, by number or name (default: all)")
        ->type_name("RUN")
        ->allow_extra_args(false);
    app->add_option("--coil", o->coil_path,
                    "Description of the coil: dimensions, cross-section, calculated curve (default: the book's)")
        ->type_name("COIL.json");
    add_quantity(*app, "--allowance", o->allowance, record::Unit::ratio,
                 "How far below the secondary the tank is to be, for the verdict on the tuning (default 3%)");
    app->add_option("--title", o->title, "Heading (default: the coil's name)")->type_name("TEXT");
    app->add_option("--note", o->note, "A paragraph under the heading")->type_name("TEXT");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return write_report(*o, console); }};
}

}  // namespace coldtune::cli
