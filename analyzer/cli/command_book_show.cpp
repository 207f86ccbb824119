// coldtune book show: one run with everything the book knows about it.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/runs.hpp"
#include "analyzer/cli/book_commands.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::format_with_uncertainty;
using record::Json;
using record::Unit;

struct BookShowOptions {
    std::string book_path, run;
    bool curve = false, coil = false, json = false;
};

constexpr const char* changed_words = "changed in the book after it was kept: not shown";

void add_row(std::string& out, const char* name, std::string_view value) {
    out += fmt::format("  {:<16}{}\n", name, value);
}

std::string limit_text(double relative) {
    return "+-" + format_quantity(relative, Unit::ratio, 2);
}

void add_findings(std::string& out, const book::Run& run) {
    const auto findings = run.result->find("findings");
    if (findings == run.result->end() || !findings->is_array()) return;
    for (const Json& finding : *findings) {
        if (!finding.is_object()) continue;
        const auto text = [&](const char* key) {
            const auto at = finding.find(key);
            return at != finding.end() && at->is_string() ? record::one_line(at->get<std::string>(), 1000)
                                                          : std::string();
        };
        out += fmt::format("  - {}\n      {}\n", text("code"), text("text"));
    }
}

std::string run_text(const LookedAt& looked, const book::Run& run) {
    const book::Book& b = looked.opened.book;
    const book::Headline h = book::headline_of(run);
    const book::KeptCapture& capture = *b.find_capture(run.capture);
    const book::Interface& interface = *b.find_interface(run.interface_number);
    std::string out = fmt::format("run {}   {}\n", run.number, run.name);
    add_row(out, "analysed", fmt::format("{} UTC, by version {}", shown_time(run.time_utc), run.program_version));
    add_row(out, "hookup", bench::describe(run.hookup).name);
    if (h.resonance_hz && h.resonance_u95_hz) {
        add_row(out, "measured",
                fmt::format("{}   {}, 95 %", format_with_uncertainty(*h.resonance_hz, *h.resonance_u95_hz, Unit::hertz),
                            h.way));
    }
    if (h.q) add_row(out, "Q", fmt::format("{:.4g}", *h.q));
    if (h.inductance_h && h.inductance_u95_h) {
        add_row(out, "inductance",
                format_with_uncertainty(*h.inductance_h, *h.inductance_u95_h, Unit::henry) + "   95 %");
    }
    if (h.primary_hz && h.primary_u95_hz && h.secondary_hz && h.secondary_u95_hz && h.k && h.k_u95) {
        add_row(out, "secondary",
                format_with_uncertainty(*h.secondary_hz, *h.secondary_u95_hz, Unit::hertz) + "   by itself, 95 %");
        add_row(out, "tank",
                format_with_uncertainty(*h.primary_hz, *h.primary_u95_hz, Unit::hertz) + "   by itself, 95 %");
        add_row(out, "coupling k", format_with_uncertainty(*h.k, *h.k_u95, Unit::none) + "   95 %");
    }
    add_row(out, "verdict", h.verdict);
    add_findings(out, run);
    add_row(out, "reference",
            fmt::format("{} {}", format_quantity(run.settings.reference_ohm, Unit::ohm),
                        limit_text(run.settings.tolerances.reference_relative)));
    if (interface.altered) {
        add_row(out, "interface", changed_words);
    } else {
        add_row(out, "input 2",
                fmt::format("{}, {}", format_quantity(interface.input_resistance_ohm, Unit::ohm),
                            format_quantity(interface.input_capacitance_f, Unit::farad)));
        add_row(out, "interface", interface.device.empty() ? "unknown" : interface.device);
    }
    add_row(out, "clock", limit_text(run.settings.tolerances.clock_ppm * 1e-6));
    if (run.settings.period_frames) add_row(out, "period", fmt::format("{} frames", *run.settings.period_frames));
    if (run.settings.settle_periods) add_row(out, "settling", fmt::format("{} periods", *run.settings.settle_periods));
    add_row(out, "coil",
            run.coil > 0 && b.find_coil(run.coil)->altered ? fmt::format("version {}, {}", run.coil, changed_words)
            : run.coil > 0 ? fmt::format("version {} of {} UTC", run.coil, shown_time(b.find_coil(run.coil)->added_utc))
                           : "not described");
    add_row(out, "capture",
            capture.altered ? fmt::format("{}   {}", capture.kept.file, changed_words)
                            : fmt::format("{}   {}, {:.1f} s{}", capture.kept.file,
                                          format_quantity(capture.sample_rate_hz, Unit::hertz),
                                          static_cast<double>(capture.frames) / capture.sample_rate_hz,
                                          capture.recorded_utc.empty()
                                              ? ""
                                              : fmt::format(", recorded {} UTC", shown_time(capture.recorded_utc))));
    const book::StandardFiles& s = run.standards;
    if (!s.open.empty()) add_row(out, "open", s.open);
    if (!s.short_circuit.empty()) add_row(out, "short", s.short_circuit);
    if (!s.load.empty()) {
        add_row(out, "load",
                fmt::format("{}   {} {}", s.load, format_quantity(run.settings.load_ohm, Unit::ohm),
                            limit_text(run.settings.tolerances.load_relative)));
    }
    if (!s.shorted.empty()) add_row(out, "primary shorted", s.shorted);
    for (const book::Note& note : run.notes) add_row(out, "note", shown_time(note.time_utc) + "  " + note.text);
    out += fmt::format("  The captures lie in {}\n", record::one_line(looked.places.captures.string(), 200));
    return out;
}

Result<Json> run_object(const LookedAt& looked, const book::Run& run, bool curve) {
    const book::Book& b = looked.opened.book;
    Json json = book_head("coldtune.book-run.v1", looked.places, looked.opened);
    json["captures_folder"] = looked.places.captures.string();
    json["run"] = book::run_json(run);
    if (curve) {
        const auto text = book::stored_result(looked.places, run);
        if (!text) return text.error();
        auto whole = record::parse_json(*text, run.result_file.file, {std::size_t{256} << 20, 32});
        if (!whole) return whole.error();
        json["run"]["result"] = std::move(*whole);
    }
    // What is not as it was kept is named in the head and left out here.
    json["coil"] =
        run.coil > 0 && !b.find_coil(run.coil)->altered ? *b.find_coil(run.coil)->description : Json(nullptr);
    json["captures"] = Json::array();
    const book::StandardFiles& s = run.standards;
    for (const std::string& file : {run.capture, s.open, s.short_circuit, s.load, s.shorted}) {
        if (const book::KeptCapture* capture = b.find_capture(file); capture != nullptr && !capture->altered)
            json["captures"].push_back(book::capture_json(*capture));
    }
    return json;
}

ExitCode show(const BookShowOptions& o, Console& console) {
    if (o.curve && !o.json) {
        return console.fail("book show", usage_error("--curve adds to the JSON object; give --json with it"));
    }
    auto looked = look_into(console, "book show", o.book_path);
    if (!looked) return console.fail("book show", looked.error());
    const auto run = look_at_run(console, "book show", *looked, o.run);
    if (!run) return console.fail("book show", run.error());
    if ((*run)->altered) {
        return console.fail("book show", bad_input(fmt::format("run {}: is not as it was kept and therefore not shown; "
                                                               "change it back",
                                                               (*run)->number)));
    }
    if (o.coil) {
        if ((*run)->coil == 0) {
            return console.fail("book show",
                                bad_input(fmt::format("run {} has no description of its coil", (*run)->number)));
        }
        const book::CoilVersion& coil = *looked->opened.book.find_coil((*run)->coil);
        if (coil.altered) {
            return console.fail("book show",
                                bad_input(fmt::format("coil version {}: is not as it was kept and therefore "
                                                      "not shown; change it back",
                                                      coil.number)));
        }
        console.print(record::json_text(*coil.description) + "\n");
        return ExitCode::done;
    }
    if (!o.json) {
        console.print(run_text(*looked, **run));
        return ExitCode::done;
    }
    const auto json = run_object(*looked, **run, o.curve);
    if (!json) return console.fail("book show", json.error());
    console.print(record::json_text(*json) + "\n");
    return ExitCode::done;
}

}  // namespace

Command add_book_show(CLI::App& book) {
    auto o = std::make_shared<BookShowOptions>();
    CLI::App* app = book.add_subcommand("show", "One run: result, settings, captures, notes");
    add_book_argument(*app, o->book_path);
    app->add_option("RUN", o->run, "Its number, or its name")->required()->type_name("RUN");
    auto* curve =
        app->add_flag("--curve", o->curve, "With --json: the whole impedance curve too, from the result's file");
    app->add_flag("--coil", o->coil, "Print the description of its coil instead, as COIL.json")->excludes(curve);
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return show(*o, console); }};
}

}  // namespace coldtune::cli
