// coldtune exchange: what measured f, Q and k mean for the spark gap.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/measure/spark_source.hpp"
#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::cli {
namespace {

using record::Unit;

struct Options {
    std::string pair_path, secondary_path, primary_path, winding_path, coil_path;
    double f1_hz = 0, f2_hz = 0, q1 = 0, q2 = 0, k = 0, c1_f = 0, c2_f = 0;  // 0: not given
    bool envelopes = false;
    bool json = false;
};

// The coil's own voltage ratio, and k of the oscillating pair over k of a uniform current.
struct FromCoil {
    double primary_capacitance_f = 0, secondary_capacitance_f = 0, coupling_ratio = 1;
};

Result<FromCoil> read_described(const std::string& path) {
    const auto coil = record::read_coil(path);
    if (!coil) return coil.error();
    const auto pair = model::make_coupled_pair(*coil);
    if (!pair) return Error{pair.error().kind, path + ": " + pair.error().message};
    const model::TwoModes modes = pair->two_modes();
    return FromCoil{coil->tank->capacitance_f, modes.head_capacitance_f, modes.coupling / modes.uniform_coupling};
}

void take(double given, const char* name, double& value, double& u95, std::string& names) {
    if (!(given > 0)) return;
    value = given;
    u95 = 0;
    names += fmt::format("{}{}", names.empty() ? "as given: " : ", ", name);
}

Status take_circuit(const Result<measure::CircuitValues>& read, const std::string& path, double given_q,
                    const char* q_option, double& f, double& f_u95, double& q, double& q_u95,
                    std::vector<std::string>& sources) {
    if (!read) return read.error();
    if (!read->q && !(given_q > 0)) {
        return bad_input(fmt::format("{}: says nothing of Q; give it with {}", path, q_option));
    }
    f = read->frequency_hz;
    f_u95 = read->frequency_u95_hz;
    q = read->q.value_or(given_q);
    q_u95 = read->q_u95;
    sources.push_back(path);
    return Done{};
}

Result<measure::SparkInputs> gather(const Options& o) {
    std::optional<FromCoil> described;
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
        const double ratio = described ? described->coupling_ratio : 1;
        v.k = ratio * read->k;
        u.k = ratio * read->k_u95;
        in.sources.push_back(
            described ? fmt::format("k from {}, times {:.3f}: the oscillating secondary carries more current beside "
                                    "the primary than a uniform one",
                                    o.winding_path, ratio)
                      : fmt::format("k from {}, of a uniform current; the oscillating pair's is some per cent larger "
                                    "(--coil says how much)",
                                    o.winding_path));
    }
    // What comes from elsewhere has nothing to do with the pair's own errors.
    if (!o.secondary_path.empty() || !o.primary_path.empty() || !o.winding_path.empty()) in.correlation.reset();
    std::string given;
    take(o.f1_hz, "--f1", v.primary_hz, u.primary_hz, given);
    take(o.f2_hz, "--f2", v.secondary_hz, u.secondary_hz, given);
    take(o.q1, "--q1", v.primary_q, u.primary_q, given);
    take(o.q2, "--q2", v.secondary_q, u.secondary_q, given);
    take(o.k, "--k", v.k, u.k, given);
    if (!given.empty()) in.sources.push_back(given);
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
    if (o.c1_f > 0) in.primary_capacitance_f = o.c1_f;
    if (o.c2_f > 0) in.secondary_capacitance_f = o.c2_f;
    return in;
}

ExitCode exchange(const Options& o, Console& console) {
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
    auto o = std::make_shared<Options>();
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
    app->add_flag("--envelopes", o->envelopes, "Add both decaying envelopes to the JSON object");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return exchange(*o, console); }};
}

}  // namespace coldtune::cli
