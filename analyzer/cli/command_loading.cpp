// coldtune loading: captures under known capacitors in, inductance, own capacitance and unloaded resonance out.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/bench_options.hpp"
#include "analyzer/cli/command.hpp"
#include "analyzer/cli/loading_text.hpp"
#include "analyzer/measure/loading_json.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::cli {
namespace {

struct LoadingOptions {
    BenchOptions bench;
    std::vector<std::string> points;
    double tolerance = 0.01;
    double lead_f = measure::kDefaultLeadLimit_f;
    std::size_t period = 0;
    std::optional<std::size_t> settle;
    bool json = false;
    bool budget = false;
};

ExitCode print(Console& console, const LoadingOptions& o, const measure::LoadingResult& loading) {
    console.print(o.json ? record::json_text(measure::to_json(loading)) + "\n" : describe_loading(loading, o.budget));
    if (loading.result.verdict() != measure::Verdict::rejected) return ExitCode::done;
    const auto& findings = loading.result.findings;
    const auto worst = std::find_if(findings.begin(), findings.end(),
                                    [](const measure::Finding& f) { return f.weight == measure::Weight::reject; });
    return console.fail("loading",
                        rejected(fmt::format("rejected, {}: {}", measure::code_name(worst->code), worst->text)));
}

ExitCode loading(const LoadingOptions& o, Console& console) {
    if (!(std::isfinite(o.tolerance) && o.tolerance >= 0 && o.tolerance <= 0.5)) {
        return console.fail("loading", usage_error(fmt::format("--tolerance {} is outside 0 to 50 %", o.tolerance)));
    }
    measure::LoadingRequest request;
    request.lead_limit_f = o.lead_f;
    for (const std::string& text : o.points) {
        auto point = parse_point(text, o.tolerance);
        if (!point) return console.fail("loading", point.error());
        request.points.push_back(std::move(*point));
    }
    auto bench = make_request(o.bench);
    if (!bench) return console.fail("loading", bench.error());
    request.bench = std::move(*bench);
    if (o.period > 0) request.bench.period_frames = o.period;
    request.bench.settle_periods = o.settle;
    for (measure::LoadingPoint& p : request.points) {
        auto capture = audio::read_capture(p.file);
        if (!capture) {
            if (o.json) {
                measure::LoadingResult unreadable;
                unreadable.result.hookup = request.bench.hookup;
                unreadable.result.findings.push_back(
                    {measure::FindingCode::unreadable, measure::Weight::reject, capture.error().message});
                console.print(record::json_text(measure::to_json(unreadable)) + "\n");
            }
            return console.fail("loading", capture.error());
        }
        p.capture = std::move(*capture);
    }
    const auto result = measure::analyze_loading(std::move(request));
    if (!result) return console.fail("loading", result.error());
    return print(console, o, *result);
}

}  // namespace

Command add_loading(CLI::App& root) {
    auto o = std::make_shared<LoadingOptions>();
    CLI::App* app =
        root.add_subcommand("loading", "Inductance and unloaded resonance from captures under known capacitors");
    app->add_option("--point", o->points,
                    "A capacitor and the capture taken with it: 100p=FILE, or 100p+-2%=FILE or 8p2+-0.5p=FILE with a "
                    "tolerance of its own; 0=FILE without a capacitor. Foot: from the HEAD to the return; tank: across "
                    "the tank capacitor. Two or more; the capacitors are taken to deviate independently")
        ->required()
        ->expected(1)
        ->take_all()
        ->type_name("VALUE=FILE");
    add_quantity(*app, "--tolerance", o->tolerance, record::Unit::ratio, "Limit of every other capacitor (default 1%)");
    add_quantity(*app, "--capacitor-lead", o->lead_f, record::Unit::farad,
                 "What the capacitor's leads may add, plus or minus (default 2p)");
    o->bench.hookup_name = "foot";
    add_bench_options(*app, o->bench);
    app->get_option("--hookup")->required(false)->description("foot (default) for a secondary, tank for a primary");
    app->get_option("--coil")->description("Description of the coil; required for a secondary");
    app->add_option("--period", o->period, "Frames in one period of the sweep; without it, any excitation")
        ->check(CLI::Range(64, 1 << 24));
    app->add_option("--settle", o->settle, "Periods dropped at the start (default 1)")->check(CLI::Range(0, 1000));
    add_json_flag(*app, o->json);
    app->add_flag("--budget", o->budget, "Open the uncertainty: what each part contributes");
    return {app, [o](Console& console) { return loading(*o, console); }};
}

}  // namespace coldtune::cli
