// coldtune exchange: what measured f, Q and k mean for the spark gap.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <limits>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/measure/spark_source.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::cli {
namespace {

using record::Unit;

constexpr double kNone = std::numeric_limits<double>::quiet_NaN();

struct ExchangeOptions {
    std::string pair_path, secondary_path, primary_path, winding_path, coil_path;
    // NaN: not given.
    double f1_hz = kNone, f2_hz = kNone, q1 = kNone, q2 = kNone, k = kNone, c1_f = kNone, c2_f = kNone;
    bool envelopes = false;
    bool json = false;
};

Result<measure::SparkCoil> read_described(const std::string& path) {
    const auto coil = record::read_coil(path);
    if (!coil) return coil.error();
    auto described = measure::spark_coil(*coil);
    if (!described) return Error{described.error().kind, path + ": " + described.error().message};
    return described;
}

// A value from the command line stands above what a result says of it, and that is told.
void take(double given, const char* name, double& value, double& u95, std::vector<std::string>& sources) {
    if (std::isnan(given)) return;
    const char* instead = value > 0 ? ", in place of what the results say" : "";
    value = given;
    u95 = 0;
    sources.push_back(fmt::format("as given: {}{}", name, instead));
}

Status check_given(const ExchangeOptions& o) {
    for (const auto& [value, name] :
         {std::pair{o.f1_hz, "--f1"}, std::pair{o.f2_hz, "--f2"}, std::pair{o.q1, "--q1"}, std::pair{o.q2, "--q2"},
          std::pair{o.k, "--k"}, std::pair{o.c1_f, "--c1"}, std::pair{o.c2_f, "--c2"}}) {
        if (value <= 0 || std::isinf(value)) return usage_error(fmt::format("{} must be more than 0", name));
    }
    return Done{};
}

Status take_circuit(const Result<measure::CircuitValues>& read, const std::string& path, double given_q,
                    const char* q_option, double& f, double& f_u95, double& q, double& q_u95,
                    std::vector<std::string>& sources) {
    if (!read) return read.error();
    if (!read->q && std::isnan(given_q)) {
        return bad_input(fmt::format("{}: says nothing of Q; give it with {}", path, q_option));
    }
    f = read->frequency_hz;
    f_u95 = read->frequency_u95_hz;
    q = read->q.value_or(std::isnan(given_q) ? 0 : given_q);
    q_u95 = read->q_u95;
    sources.push_back(path);
    return Done{};
}

Result<measure::SparkInputs> gather(const ExchangeOptions& o) {
    std::optional<measure::SparkCoil> described;
    if (!o.coil_path.empty()) {
        auto read = read_described(o.coil_path);
        if (!read) return read.error();
        described = *read;
    }
    measure::SparkInputs in;
    if (!o.pair_path.empty()) {
        auto read = measure::read_pair(o.pair_path);
        if (!read) return read.error();
        in = std::move(*read);
    }
    auto& v = in.value;
    auto& u = in.u95;
    if (!o.secondary_path.empty()) {
        if (const Status ok = take_circuit(measure::read_secondary(o.secondary_path), o.secondary_path, o.q2, "--q2",
                                           v.secondary_hz, u.secondary_hz, v.secondary_q, u.secondary_q, in.sources);
            !ok) {
            return ok.error();
        }
    }
    if (!o.primary_path.empty()) {
        if (const Status ok = take_circuit(measure::read_tank(o.primary_path), o.primary_path, o.q1, "--q1",
                                           v.primary_hz, u.primary_hz, v.primary_q, u.primary_q, in.sources);
            !ok) {
            return ok.error();
        }
    }
    if (!o.winding_path.empty()) {
        const auto read = measure::read_winding_coupling(o.winding_path);
        if (!read) return read.error();
        measure::take_coupling(in, *read, o.winding_path, described);
    }
    // What comes from elsewhere has nothing to do with the pair's own errors.
    if (!o.secondary_path.empty() || !o.primary_path.empty() || !o.winding_path.empty()) in.correlation.reset();
    take(o.f1_hz, "--f1", v.primary_hz, u.primary_hz, in.sources);
    take(o.f2_hz, "--f2", v.secondary_hz, u.secondary_hz, in.sources);
    take(o.q1, "--q1", v.primary_q, u.primary_q, in.sources);
    take(o.q2, "--q2", v.secondary_q, u.secondary_q, in.sources);
    take(o.k, "--k", v.k, u.k, in.sources);
    for (const auto& [value, option] :
         {std::pair{v.primary_hz, "--f1 or --primary"}, std::pair{v.secondary_hz, "--f2 or --secondary"},
          std::pair{v.primary_q, "--q1 or --primary"}, std::pair{v.secondary_q, "--q2 or --secondary"},
          std::pair{v.k, "--k or --winding"}}) {
        if (!(value > 0)) return usage_error(fmt::format("a value is missing: give {}, or --pair", option));
    }
    if (described) {
        in.primary_capacitance_f = described->primary_capacitance_f;
        in.secondary_capacitance_f = described->secondary_capacitance_f;
    }
    const auto take_capacitance = [&](double given, const char* name, std::optional<double>& into) {
        if (std::isnan(given)) return;
        in.sources.push_back(
            fmt::format("as given: {}{}", name, into ? ", in place of what the description says" : ""));
        into = given;
    };
    take_capacitance(o.c1_f, "--c1", in.primary_capacitance_f);
    take_capacitance(o.c2_f, "--c2", in.secondary_capacitance_f);
    // One alone would be taken without a word and change nothing.
    const bool one_given = !std::isnan(o.c1_f) || !std::isnan(o.c2_f);
    if (one_given && !(in.primary_capacitance_f && in.secondary_capacitance_f)) {
        return usage_error(fmt::format("the voltage ratio takes two capacitances; give {} as well, or --coil COIL.json",
                                       std::isnan(o.c1_f) ? "--c1" : "--c2"));
    }
    return in;
}

ExitCode exchange(const ExchangeOptions& o, Console& console) {
    if (const Status sound = check_given(o); !sound) return console.fail("exchange", sound.error());
    const auto inputs = gather(o);
    if (!inputs) return console.fail("exchange", inputs.error());
    const auto figures = measure::spark_figures(*inputs);
    if (!figures) return console.fail("exchange", figures.error());
    if (o.json) {
        console.print(record::json_text(measure::to_json(*figures, o.envelopes)) + "\n");
        return ExitCode::done;
    }
    std::string out = fmt::format("energy exchange after the gap closes\n  {}\n", measure::spark_caution());
    for (const auto& line : measure::spark_lines(*figures)) out += fmt::format("  {:<16}{}\n", line.name, line.value);
    for (const std::string& source : figures->inputs.sources) out += fmt::format("  from: {}\n", source);
    console.print(out);
    return ExitCode::done;
}

}  // namespace

Command add_exchange(CLI::App& root) {
    auto o = std::make_shared<ExchangeOptions>();
    CLI::App* app = root.add_subcommand(
        "exchange", "How the energy goes from tank to secondary and back, calculated from measured f, Q and k");
    const auto result = [&](const char* name, std::string& path, const char* help) {
        app->add_option(name, path, help)->type_name("RESULT.json");
    };
    result("--pair", o->pair_path, "Both circuits and k: result of analyze --coupled --json");
    result("--secondary", o->secondary_path, "Secondary: result of analyze --hookup foot --json");
    result("--primary", o->primary_path, "Tank: result of analyze --hookup tank --json");
    result("--winding", o->winding_path, "Coupling: result of analyze --hookup winding --shorted ... --json");
    add_quantity(*app, "--f1", o->f1_hz, Unit::hertz, "Tank's own frequency, instead of a result");
    add_quantity(*app, "--f2", o->f2_hz, Unit::hertz, "Secondary's own frequency, instead of a result");
    add_quantity(*app, "--q1", o->q1, Unit::none, "Tank's Q, instead of a result");
    add_quantity(*app, "--q2", o->q2, Unit::none, "Secondary's Q, instead of a result");
    add_quantity(*app, "--k", o->k, Unit::ratio, "Coupling k of the oscillating pair, instead of a result");
    add_quantity(*app, "--c1", o->c1_f, Unit::farad, "Tank capacitor, for the voltage ratio");
    add_quantity(*app, "--c2", o->c2_f, Unit::farad, "Secondary's capacitance referred to its head, for the ratio");
    app->add_option("--coil", o->coil_path,
                    "Description with primary and tank: the two capacitances, and k of --winding for the real current")
        ->type_name("COIL.json");
    CLI::Option* json = add_json_flag(*app, o->json);
    app->add_flag("--envelopes", o->envelopes, "Add both decaying envelopes to the JSON object")->needs(json);
    return {app, [o](Console& console) { return exchange(*o, console); }};
}

}  // namespace coldtune::cli
