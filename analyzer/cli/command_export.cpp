// coldtune export: a kept result as a file for other programs.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <array>
#include <filesystem>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/band_option.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/measure/kept_result.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"
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

struct Options {
    std::string from, out, as, coil_path, parameter = "s", band;
    std::vector<std::string> over;
    double reference_ohm = 50;
    bool json = false;
};

Result<KindName> kind_of(const Options& o) {
    const std::string ending = share::lower_case(fs::path(o.out).extension().string());
    for (const KindName& k : kKinds) {
        if (o.as.empty() ? ending == k.ending : o.as == k.name) return k;
    }
    return usage_error(
        fmt::format("--out {}: the ending says nothing about the kind (.s1p, .ts, .csv, .cir, .svg); add "
                    "--as touchstone1, touchstone2, csv, spice or svg",
                    record::in_quotes(o.out)));
}

// A result of ours whole, or the response of somebody else as one without anything but its curve.
Result<measure::MeasurementResult> read_source(const std::string& path) {
    if (!share::is_plain_response(path)) return measure::read_kept_result(path);
    auto curve = share::read_response(path);
    if (!curve) return curve.error();
    measure::MeasurementResult result;
    result.outcome = measure::Accepted{};
    result.curve = std::move(*curve);
    return result;
}

std::vector<std::string> comments_of(const Options& o, const measure::MeasurementResult& result) {
    const share::Provenance provenance = share::provenance_of(fs::path(o.from).filename().string());
    std::vector<std::string> lines = share::comment_lines(result, provenance);
    // Of a response from elsewhere the hookup and the verdict are not known.
    if (share::is_plain_response(o.from)) lines.resize(2);
    return lines;
}

// The file's name before what is wrong with it.
template <class T>
Result<T> named(const Options& o, Result<T> outcome) {
    if (outcome) return outcome;
    return Error{outcome.error().kind, fmt::format("{}: {}", o.from, outcome.error().message)};
}

Result<std::string> plot_text(const Options& o, const measure::MeasurementResult& result) {
    share::ResponsePlot plot = share::plot_of(result, fs::path(o.from).stem().string());
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
    if (!o.coil_path.empty()) {
        const auto coil = record::read_coil(o.coil_path);
        if (!coil) return coil.error();
        if (Status added = share::add_calculated(plot, *coil); !added) return added.error();
    }
    return share::response_svg(plot, fmt::format("Response of {}", fs::path(o.from).filename().string()));
}

Result<std::string> text_of(Kind kind, const Options& o, const measure::MeasurementResult& result) {
    // A netlist's own refusal says it better.
    if (kind != Kind::spice && !share::curve_is_sound(result)) {
        return rejected(fmt::format("{}: the capture was rejected ({}), so its curve is no impedance; measure again",
                                    o.from, measure::code_name(result.findings.front().code)));
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
            return named(o, share::touchstone_text(result.curve, options, comments_of(o, result)));
        }
        case Kind::csv:
            return named(o, share::csv_text(result.curve));
        case Kind::spice: {
            const auto circuit = share::equivalent_of(result);
            if (!circuit) return named<std::string>(o, circuit.error());
            return share::spice_text(*circuit, comments_of(o, result));
        }
        case Kind::svg:
            return plot_text(o, result);
    }
    return usage_error("no such kind");
}

ExitCode export_result(const Options& o, Console& console) {
    const auto kind = kind_of(o);
    if (!kind) return console.fail("export", kind.error());
    if ((!o.coil_path.empty() || !o.over.empty() || !o.band.empty()) && kind->kind != Kind::svg) {
        return console.fail("export", usage_error("--coil, --over and --band belong to a plot; write it as .svg"));
    }
    if (!(o.reference_ohm > 0)) return console.fail("export", usage_error("--reference must be greater than 0"));
    const auto result = read_source(o.from);
    if (!result) return console.fail("export", result.error());
    const auto text = text_of(kind->kind, o, *result);
    if (!text) return console.fail("export", text.error());
    if (Status written = record::write_file_atomically(o.out, *text); !written) {
        return console.fail("export", written.error());
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

}  // namespace

Command add_export(CLI::App& root) {
    auto o = std::make_shared<Options>();
    CLI::App* app = root.add_subcommand("export", "Write a result for other programs: Touchstone, CSV, SPICE, SVG");
    app->add_option("RESULT", o->from,
                    "Output of analyze --json --curve; or a response of others (.s1p, .ts, .csv) to be converted")
        ->required()
        ->type_name("RESULT.json");
    app->add_option(
           "--out", o->out,
           "File to write; its ending says the kind: .s1p Touchstone 1.0, .ts Touchstone 2.0, .csv table, .cir "
           "SPICE netlist of the equivalent circuit, .svg plot")
        ->required()
        ->type_name("FILE");
    app->add_option("--as", o->as, "Kind of the file, whatever its ending")
        ->check(CLI::IsMember({"touchstone1", "touchstone2", "csv", "spice", "svg"}))
        ->type_name("KIND");
    app->add_option("--parameter", o->parameter, "Touchstone: s reflection (default), z impedance")
        ->check(CLI::IsMember({"s", "z"}))
        ->type_name("LETTER");
    add_quantity(*app, "--reference", o->reference_ohm, record::Unit::ohm,
                 "Touchstone: reference resistance of the file (default 50)");
    app->add_option("--coil", o->coil_path, "Plot: description of the coil, for the calculated curve")
        ->type_name("COIL.json");
    app->add_option("--over", o->over, "Plot: a response to lay over it (.s1p, .ts, .csv, .json); may be repeated")
        ->type_name("FILE")
        ->allow_extra_args(false);  // one each time, or it would take RESULT for another
    app->add_option("--band", o->band, "Plot: frequencies to show")->type_name("LOW:HIGH");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return export_result(*o, console); }};
}

}  // namespace coldtune::cli
