// coldtune combine: several results on one coil in, one estimate out, or what contradicts what.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/measure/combined.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::cli {
namespace {

using measure::CombinedResult;
using measure::KnownQuantity;
using record::format_with_uncertainty;
using record::Unit;

struct CombineOptions {
    std::vector<std::string> paths;
    std::string coil_path;
    bool json = false;
};

record::Json value_json(const std::optional<measure::CombinedValue>& value, const char* value_key,
                        const char* u95_key) {
    if (!value) return nullptr;
    return {{value_key, value->value},
            {u95_key, value->u95},
            {"chi_square", value->chi_square},
            {"degrees_of_freedom", value->degrees_of_freedom},
            {"chance", value->chance}};
}

record::Json combined_json(const CombinedResult& combined) {
    record::Json j;
    j["schema"] = "coldtune.combined.v1";
    j["program_version"] = COLDTUNE_VERSION;
    j["verdict"] = measure::verdict_name(combined.verdict());
    j["findings"] = record::Json::array();
    for (const auto& f : combined.findings) {
        const char* weight = f.weight == measure::Weight::reject ? "reject" : "caution";
        j["findings"].push_back({{"code", measure::code_name(f.code)}, {"weight", weight}, {"text", f.text}});
    }
    j["resonance"] = value_json(combined.resonance, "frequency_hz", "frequency_u95_hz");
    j["inductance"] = value_json(combined.inductance, "inductance_h", "inductance_u95_h");
    j["values"] = record::Json::array();
    for (const auto& s : combined.statements) {
        j["values"].push_back({{"quantity", s.quantity == KnownQuantity::resonance ? "resonance" : "inductance"},
                               {"file", s.name},
                               {"route", s.route},
                               {"value", s.value},
                               {"u95", s.u95},
                               {"weight", s.weight},
                               {"deviation", s.deviation}});
    }
    j["assumptions"] = combined.assumptions;
    j["calculated"] = combined.calculated ? measure::to_json(*combined.calculated) : record::Json(nullptr);
    const auto difference = combined.difference_percent();
    j["difference_percent"] = difference ? record::Json(*difference) : record::Json(nullptr);
    return j;
}

std::string combined_text(const CombinedResult& combined) {
    std::string out = "combined from all results\n";
    const auto row = [&](const char* name, const std::optional<measure::CombinedValue>& value, Unit unit) {
        if (!value) return;
        out += fmt::format("  {:<14}{}   95 %, chi square {:.1f} for {}\n", name,
                           format_with_uncertainty(value->value, value->u95, unit), value->chi_square,
                           value->degrees_of_freedom);
    };
    row("resonance", combined.resonance, Unit::hertz);
    row("inductance", combined.inductance, Unit::henry);
    if (!combined.resonance && !combined.inductance) out += "  nothing: the results contradict each other\n";
    if (combined.calculated) {
        out += fmt::format("  {:<14}{}\n", "calculated",
                           format_with_uncertainty(combined.calculated->frequency_hz,
                                                   combined.calculated->frequency_u95_hz, Unit::hertz));
    }
    if (const auto percent = combined.difference_percent())
        out += fmt::format("  {:<14}{:+.2f} %\n", "difference", *percent);
    out += fmt::format("  {:<14}{}\n", "verdict", measure::verdict_name(combined.verdict()));
    for (const auto& f : combined.findings)
        out += fmt::format("  - {}\n      {}\n", measure::code_name(f.code), f.text);
    out += "  what each says, its weight, and its distance from the others in standard uncertainties\n";
    for (const auto& s : combined.statements) {
        out += fmt::format(
            "    {:<28} {:>5.1f} % {:>+6.1f}   {} ({})\n",
            format_with_uncertainty(s.value, s.u95, s.quantity == KnownQuantity::resonance ? Unit::hertz : Unit::henry),
            100 * s.weight, s.deviation, s.name, s.route);
    }
    out += "  assumed:\n";
    for (const std::string& a : combined.assumptions) out += "    " + a + "\n";
    return out;
}

ExitCode combine(const CombineOptions& o, Console& console) {
    std::vector<measure::KnownResult> results;
    for (const std::string& path : o.paths) {
        auto result = measure::read_result(path);
        if (!result) return console.fail("combine", result.error());
        results.push_back(std::move(*result));
    }
    std::optional<model::CoilDescription> description;
    if (!o.coil_path.empty()) {
        auto coil = record::read_coil(o.coil_path);
        if (!coil) return console.fail("combine", coil.error());
        description = std::move(*coil);
    }
    const auto combined = measure::combine(results, description);
    if (!combined) return console.fail("combine", combined.error());
    console.print(o.json ? record::json_text(combined_json(*combined)) + "\n" : combined_text(*combined));
    if (combined->verdict() != measure::Verdict::rejected) return ExitCode::done;
    const auto& worst = combined->findings.front();
    return console.fail("combine",
                        rejected(fmt::format("rejected, {}: {}", measure::code_name(worst.code), worst.text)));
}

}  // namespace

Command add_combine(CLI::App& root) {
    auto o = std::make_shared<CombineOptions>();
    CLI::App* app = root.add_subcommand("combine", "One estimate from several results on the same coil, if they agree");
    app->add_option("RESULT", o->paths,
                    "Outputs of analyze --json and loading --json, two or more, the coil standing alike")
        ->required()
        ->type_name("RESULT.json");
    app->add_option("--coil", o->coil_path, "Description of the coil: turns a winding's inductance into a resonance")
        ->type_name("COIL.json");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return combine(*o, console); }};
}

}  // namespace coldtune::cli
