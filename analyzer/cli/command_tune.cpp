// coldtune tune: measured secondary and tank in, where to put the tap out.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/cli/tuning_text.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/tuning/tuning_json.hpp"

namespace coldtune::cli {
namespace {

struct TuneOptions {
    std::string secondary_path, primary_path, coil_path, bare_path;
    std::vector<std::string> taps;
    double allowance = tuning::kDefaultAllowance;
    bool json = false;
};

Status read_into(const std::string& path, std::optional<measure::KnownResult>& into) {
    if (path.empty()) return Done{};
    auto result = measure::read_any_result(path);
    if (!result) return result.error();
    into = std::move(*result);
    return Done{};
}

Result<tuning::TuneRequest> request_of(const TuneOptions& o) {
    tuning::TuneRequest request;
    request.allowance = o.allowance;
    auto coil = record::read_coil(o.coil_path);
    if (!coil) return coil.error();
    request.coil = std::move(*coil);
    request.coil_name = o.coil_path;
    auto secondary = measure::read_any_result(o.secondary_path);
    if (!secondary) return secondary.error();
    request.secondary = std::move(*secondary);
    if (const Status read = read_into(o.primary_path, request.primary); !read) return read.error();
    if (const Status read = read_into(o.bare_path, request.bare); !read) return read.error();
    for (const std::string& text : o.taps) {
        auto tap = parse_tap(text);
        if (!tap) return tap.error();
        auto result = measure::read_any_result(tap->file);
        if (!result) return result.error();
        request.taps.push_back({tap->turns, std::move(*result)});
    }
    return request;
}

ExitCode tune(const TuneOptions& o, Console& console) {
    const auto request = request_of(o);
    if (!request) return console.fail("tune", request.error());
    const auto result = tuning::tune(*request);
    if (!result) return console.fail("tune", result.error());
    console.print(o.json ? record::json_text(tuning::to_json(*request, *result)) + "\n"
                         : describe_tune(*request, *result));
    for (const auto& r : result->remarks) {
        if (r.weight == measure::Weight::reject)
            return console.fail("tune", rejected(fmt::format("rejected, {}: {}", r.code, r.text)));
    }
    return ExitCode::done;
}

}  // namespace

Command add_tune(CLI::App& root) {
    auto o = std::make_shared<TuneOptions>();
    CLI::App* app = root.add_subcommand("tune", "Set the primary to the measured secondary: where to put the tap");
    app->add_option("--secondary", o->secondary_path,
                    "Output of analyze, loading or combine --json: the secondary with its top load, where it stands")
        ->required()
        ->type_name("S.json");
    app->add_option("--primary", o->primary_path,
                    "Output of analyze --hookup tank --json: the tank as it stands, at the description's tap_turns")
        ->type_name("P.json");
    app->add_option("--tap", o->taps,
                    "A tank measured at another tap: 8=P.json, 9.5=Q.json; without --primary the last one is how the "
                    "tank stands. A result of --hookup winding on the primary serves as well")
        ->expected(1)
        ->take_all()
        ->type_name("TURNS=FILE");
    app->add_option("--coil", o->coil_path, "Description of the coil with primary and tank")
        ->required()
        ->type_name("COIL.json");
    app->add_option("--bare", o->bare_path, "The secondary without its top load, if it was measured")
        ->type_name("B.json");
    add_quantity(*app, "--allowance", o->allowance, record::Unit::ratio,
                 "How far below the secondary the tank is set, for spark loading (default 3%, common practice)");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return tune(*o, console); }};
}

}  // namespace coldtune::cli
