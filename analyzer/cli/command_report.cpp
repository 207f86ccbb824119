// coldtune report: kept results on a few pages of HTML.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/measure/kept_result.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/share/report.hpp"

namespace coldtune::cli {
namespace {

namespace fs = std::filesystem;

struct Options {
    std::vector<std::string> results;
    std::string coil_path, out, title, note;
    bool json = false;
};

Result<share::Report> gather(const Options& o) {
    share::Report report;
    report.title = o.title;
    report.note = o.note;
    std::string sources;
    for (const std::string& path : o.results) {
        auto result = measure::read_kept_result(path);
        if (!result) return result.error();
        const fs::path file(path);
        report.runs.push_back({file.stem().string(), {}, {}, {}, {}, std::move(*result)});
        sources += (sources.empty() ? "" : ", ") + file.filename().string();
    }
    if (!o.coil_path.empty()) {
        auto coil = record::read_coil(o.coil_path);
        if (!coil) return coil.error();
        report.coil = std::move(*coil);
        sources += ", " + fs::path(o.coil_path).filename().string();
    }
    report.provenance = share::provenance_of(sources);
    return report;
}

ExitCode write_report(const Options& o, Console& console) {
    const auto report = gather(o);
    if (!report) return console.fail("report", report.error());
    const auto html = share::report_html(*report);
    if (!html) return console.fail("report", html.error());
    if (Status written = record::write_file_atomically(o.out, *html); !written) {
        return console.fail("report", written.error());
    }
    if (o.json) {
        record::Json j;
        j["schema"] = "coldtune.report.v1";
        j["program_version"] = COLDTUNE_VERSION;
        j["file"] = o.out;
        j["runs"] = report->runs.size();
        j["bytes"] = html->size();
        console.print(record::json_text(j) + "\n");
    } else {
        console.print(
            fmt::format("{} written ({} run{})\n", o.out, report->runs.size(), report->runs.size() == 1 ? "" : "s"));
    }
    return ExitCode::done;
}

}  // namespace

Command add_report(CLI::App& root) {
    auto o = std::make_shared<Options>();
    CLI::App* app = root.add_subcommand("report", "Put results on a few pages: one HTML file that prints well");
    app->add_option("RESULT", o->results, "Outputs of analyze --json --curve, oldest first")
        ->required()
        ->type_name("RESULT.json");
    app->add_option("--out", o->out, "HTML file to write")->required()->type_name("REPORT.html");
    app->add_option("--coil", o->coil_path, "Description of the coil: dimensions, cross-section, calculated curve")
        ->type_name("COIL.json");
    app->add_option("--title", o->title, "Heading (default: the coil's name)")->type_name("TEXT");
    app->add_option("--note", o->note, "A paragraph under the heading")->type_name("TEXT");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return write_report(*o, console); }};
}

}  // namespace coldtune::cli
