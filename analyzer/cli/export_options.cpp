#include "analyzer/cli/export_options.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "analyzer/cli/band_option.hpp"
#include "analyzer/cli/output_target.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/quantity.hpp"
#include "analyzer/share/provenance.hpp"
#include "analyzer/share/response_csv.hpp"
#include "analyzer/share/response_file.hpp"
#include "analyzer/share/response_plot.hpp"
#include "analyzer/share/spice.hpp"
#include "analyzer/share/text_lines.hpp"
#include "analyzer/share/touchstone.hpp"

namespace coldtune::cli {
namespace {

namespace fs = std::filesystem;

enum class Kind { touchstone_1, touchstone_2, csv, spice, svg };

struct KindName {
    Kind kind;
    const char* name;    // of --as
    const char* ending;  // of the file that asks for it
};
constexpr std::array<KindName, 5> kKinds = {{{Kind::touchstone_1, "touchstone1", ".s1p"},
                                             {Kind::touchstone_2, "touchstone2", ".ts"},
                                             {Kind::csv, "csv", ".csv"},
                                             {Kind::spice, "spice", ".cir"},
                                             {Kind::svg, "svg", ".svg"}}};

Result<KindName> kind_of(const ExportOptions& o) {
    const std::string ending = share::lower_case(fs::path(o.out).extension().string());
    for (const KindName& k : kKinds) {
        if (o.as.empty() ? ending == k.ending : o.as == k.name) return k;
    }
    return usage_error(
        fmt::format("--out {}: the ending says nothing about the kind (.s1p, .ts, .csv, .cir, .svg); add "
                    "--as touchstone1, touchstone2, csv, spice or svg",
                    record::in_quotes(o.out)));
}

std::vector<std::string> comments_of(const ExportSource& source) {
    std::vector<std::string> lines = share::comment_lines(source.result, share::provenance_of(source.origin));
    if (source.only_curve) lines.resize(2);
    return lines;
}

// The name before what is wrong with it.
template <class T>
Result<T> named(const ExportSource& source, Result<T> outcome) {
    if (outcome) return outcome;
    return Error{outcome.error().kind, fmt::format("{}: {}", source.name, outcome.error().message)};
}

// A picture of nothing is no plot.
Status check_plot(const share::ResponsePlot& plot, const ExportOptions& o, const ExportSource& source) {
    double lowest = HUGE_VAL, highest = 0;
    bool seen = false;
    for (const auto* curves : {&plot.measured, &plot.others}) {
        for (const share::NamedCurve& c : *curves) {
            const auto& f = c.curve.frequency_hz;
            if (f.size() < 2) continue;
            lowest = std::min(lowest, f.front());
            highest = std::max(highest, f.back());
            const auto first = std::lower_bound(f.begin(), f.end(), plot.band ? plot.band->low_hz : 0);
            const auto last = std::upper_bound(f.begin(), f.end(), plot.band ? plot.band->high_hz : HUGE_VAL);
            seen = seen || last - first > 1;
        }
    }
    if (seen) return Done{};
    if (!(highest > 0)) {
        return bad_input(
            fmt::format("{}: there is no curve in it to plot; analyze with --json --curve keeps one", source.name));
    }
    return usage_error(fmt::format("--band {}: no curve has two points in it; they go from {} to {}", o.band,
                                   record::format_quantity(lowest, record::Unit::hertz),
                                   record::format_quantity(highest, record::Unit::hertz)));
}

Result<std::string> plot_text(const ExportOptions& o, const ExportSource& source) {
    share::ResponsePlot plot = share::plot_of(source.result, source.label);
    if (!o.band.empty()) {
        const auto band = parse_band(o.band);
        if (!band) return band.error();
        plot.band = *band;
    }
    for (const std::string& path : o.over) {
        auto curve = share::read_response(path);
        if (!curve) return curve.error();
        plot.others.push_back({fs::path(path).filename().string(), std::move(*curve)});
    }
    if (source.coil) {
        if (Status added = share::add_calculated(plot, *source.coil); !added) return added.error();
    }
    if (Status something = check_plot(plot, o, source); !something) return something.error();
    return share::response_svg(plot, fmt::format("Response of {}", source.origin));
}

Result<std::string> text_of(Kind kind, const ExportOptions& o, const ExportSource& source) {
    const measure::MeasurementResult& result = source.result;
    // A netlist's own refusal says it better.
    if (kind != Kind::spice && !share::curve_is_sound(result)) {
        return rejected(fmt::format("{}: the capture was rejected ({}), so its curve is no impedance; measure again",
                                    source.name, measure::code_name(result.findings.front().code)));
    }
    switch (kind) {
        case Kind::touchstone_1:
        case Kind::touchstone_2: {
            share::TouchstoneOptions options;
            options.version =
                kind == Kind::touchstone_1 ? share::TouchstoneVersion::v1_0 : share::TouchstoneVersion::v2_0;
            options.parameter =
                o.parameter == "s" ? share::NetworkParameter::scattering : share::NetworkParameter::impedance;
            options.reference_ohm = o.reference_ohm;
            return named(source, share::touchstone_text(result.curve, options, comments_of(source)));
        }
        case Kind::csv:
            return named(source, share::csv_text(result.curve));
        case Kind::spice: {
            if (source.only_curve) {
                return bad_input(
                    fmt::format("{}: a response alone says nothing of a resonance to make a circuit of; "
                                "export an output of analyze --json --curve",
                                source.name));
            }
            const auto circuit = share::equivalent_of(result);
            if (!circuit) return named<std::string>(source, circuit.error());
            return share::spice_text(*circuit, comments_of(source));
        }
        case Kind::svg:
            return plot_text(o, source);
    }
    return usage_error("no such kind");
}

}  // namespace

void add_export_options(CLI::App& app, ExportOptions& o) {
    app.add_option("--out", o.out,
                   "File to write; its ending says the kind: .s1p Touchstone 1.0, .ts Touchstone 2.0, .csv table, .cir "
                   "SPICE netlist of the equivalent circuit, .svg plot")
        ->required()
        ->type_name("FILE");
    app.add_option("--as", o.as, "Kind of the file, whatever its ending")
        ->check(CLI::IsMember({"touchstone1", "touchstone2", "csv", "spice", "svg"}))
        ->type_name("KIND");
    app.add_option("--parameter", o.parameter, "Touchstone: s reflection (default), z impedance")
        ->check(CLI::IsMember({"s", "z"}))
        ->type_name("LETTER");
    add_quantity(app, "--reference", o.reference_ohm, record::Unit::ohm,
                 "Touchstone: reference resistance of the file (default 50)");
    app.add_option("--over", o.over, "Plot: a response to lay over it (.s1p, .ts, .csv, .json); may be repeated")
        ->type_name("FILE")
        ->allow_extra_args(false);  // one each time, or it would take RESULT for another
    app.add_option("--band", o.band, "Plot: frequencies to show")->type_name("LOW:HIGH");
    add_json_flag(app, o.json);
}

Result<bool> asks_for_plot(const ExportOptions& o) {
    const auto kind = kind_of(o);
    if (!kind) return kind.error();
    if (kind->kind != Kind::svg && (!o.over.empty() || !o.band.empty())) {
        return usage_error("--over and --band belong to a plot; write it as .svg");
    }
    if (!(o.reference_ohm > 0)) return usage_error("--reference must be greater than 0");
    return kind->kind == Kind::svg;
}

ExitCode write_export(const ExportOptions& o, const ExportSource& source, std::string_view command, Console& console) {
    const auto kind = kind_of(o);
    if (!kind) return console.fail(command, kind.error());
    std::vector<std::string> inputs = o.over;
    inputs.push_back(source.name);
    if (const Status free = check_target(o.out, inputs); !free) return console.fail(command, free.error());
    const auto text = text_of(kind->kind, o, source);
    if (!text) return console.fail(command, text.error());
    if (Status written = record::write_file_atomically(o.out, *text); !written) {
        return console.fail(command, written.error());
    }
    if (o.json) {
        record::Json j;
        j["schema"] = "coldtune.export.v1";
        j["program_version"] = COLDTUNE_VERSION;
        j["file"] = o.out;
        j["kind"] = kind->name;
        j["bytes"] = text->size();
        console.print(record::json_text(j) + "\n");
    } else {
        console.print(fmt::format("{} written ({})\n", o.out, kind->name));
    }
    return ExitCode::done;
}

}  // namespace coldtune::cli
