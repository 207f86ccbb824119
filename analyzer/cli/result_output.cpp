#include "analyzer/cli/result_output.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/cli/result_text.hpp"
#include "analyzer/measure/result_json.hpp"

namespace coldtune::cli {
namespace {

void print_json(Console& console, const measure::MeasurementResult& result, bool curve) {
    console.print(
        measure::to_json(result, curve).dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n");
}

}  // namespace

void add_output_options(CLI::App& app, OutputOptions& o) {
    CLI::Option* json = add_json_flag(app, o.json);
    app.add_flag("--curve", o.curve, "Add the corrected impedance curve to the JSON object")->needs(json);
    app.add_flag("--budget", o.budget, "Open the uncertainty: what each part contributes");
}

ExitCode print_result(Console& console, std::string_view command, const measure::MeasurementResult& result,
                      const OutputOptions& options) {
    if (options.json) {
        print_json(console, result, options.curve);
    } else {
        console.print(describe_result(result, options.budget));
    }
    return verdict_code(console, command, result);
}

ExitCode verdict_code(Console& console, std::string_view command, const measure::MeasurementResult& result) {
    if (result.verdict() != measure::Verdict::rejected) return ExitCode::done;
    const auto worst = std::find_if(result.findings.begin(), result.findings.end(),
                                    [](const measure::Finding& f) { return f.weight == measure::Weight::reject; });
    return console.fail(command,
                        rejected(fmt::format("rejected, {}: {}", measure::code_name(worst->code), worst->text)));
}

void print_unreadable(Console& console, bench::Hookup hookup, std::string_view sentence) {
    measure::MeasurementResult result;
    result.hookup = hookup;
    result.outcome = measure::Rejected{};
    result.findings.push_back({measure::FindingCode::unreadable, measure::Weight::reject, std::string(sentence)});
    print_json(console, result, false);
}

}  // namespace coldtune::cli
