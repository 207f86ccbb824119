// coldtune compare: a coil without and with its top load.
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

struct CompareOptions {
    std::string a_path, b_path, coil_path, inductance_path, instead_path;
    bool json = false;
    bool budget = false;
};

Status read_coil(const std::string& path, std::optional<tuning::NamedCoil>& into) {
    if (path.empty()) return Done{};
    auto coil = record::read_coil(path);
    if (!coil) return coil.error();
    into = tuning::NamedCoil{std::move(*coil), path};
    return Done{};
}

Result<tuning::CompareRequest> request_of(const CompareOptions& o) {
    tuning::CompareRequest request;
    for (const auto& [path, into] : {std::pair{&o.a_path, &request.a}, std::pair{&o.b_path, &request.b}}) {
        auto result = measure::read_any_result(*path);
        if (!result) return result.error();
        *into = std::move(*result);
    }
    if (!o.inductance_path.empty()) {
        auto result = measure::read_result(o.inductance_path);
        if (!result) return result.error();
        request.inductance = std::move(*result);
    }
    if (const Status read = read_coil(o.coil_path, request.coil); !read) return read.error();
    if (const Status read = read_coil(o.instead_path, request.instead); !read) return read.error();
    return request;
}

ExitCode compare(const CompareOptions& o, Console& console) {
    const auto request = request_of(o);
    if (!request) return console.fail("compare", request.error());
    const auto result = tuning::compare(*request);
    if (!result) return console.fail("compare", result.error());
    console.print(o.json ? record::json_text(tuning::to_json(*result)) + "\n"
                         : describe_compare(*request, *result, o.budget));
    for (const auto& r : result->remarks) {
        if (r.weight == measure::Weight::reject)
            return console.fail("compare", rejected(fmt::format("rejected, {}: {}", r.code, r.text)));
    }
    return ExitCode::done;
}

}  // namespace

Command add_compare(CLI::App& root) {
    auto o = std::make_shared<CompareOptions>();
    CLI::App* app = root.add_subcommand("compare", "What a top load did: shift and added capacitance");
    app->add_option("A", o->a_path, "Output of analyze --json without the top load")->required()->type_name("A.json");
    app->add_option("B", o->b_path, "The same with the top load (given the other way round they are put in order)")
        ->required()
        ->type_name("B.json");
    app->add_option("--coil", o->coil_path, "Description of the coil with its top load: gives the capacitances")
        ->type_name("COIL.json");
    app->add_option("--inductance", o->inductance_path,
                    "Output of the winding hookup or of a loading series: the capacitance then rests on that")
        ->type_name("RESULT.json");
    app->add_option("--instead", o->instead_path,
                    "Description of the same coil with another top load: what that one would do")
        ->type_name("COIL.json");
    add_json_flag(*app, o->json);
    app->add_flag("--budget", o->budget, "Open the uncertainty: what each part contributes");
    return {app, [o](Console& console) { return compare(*o, console); }};
}

}  // namespace coldtune::cli
