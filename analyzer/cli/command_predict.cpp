// coldtune predict: the calculated value, before anything is measured.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cmath>
#include <limits>
#include <memory>
#include <nlohmann/json.hpp>

#include "analyzer/cli/command.hpp"
#include "analyzer/cli/primary_text.hpp"
#include "analyzer/cli/result_text.hpp"
#include "analyzer/measure/advice.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/model/calculated.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/record/coil_file.hpp"

namespace coldtune::cli {
namespace {

struct PredictOptions {
    std::string coil_path;
    bool json = false;
    bool profile = false;
    double rate_hz = std::numeric_limits<double>::quiet_NaN();  // no advice asked for
    double reference_ohm = std::numeric_limits<double>::quiet_NaN();
};

nlohmann::ordered_json advice_json(const measure::Advice& a) {
    const auto number = [](const std::optional<double>& v) {
        return v ? nlohmann::ordered_json(*v) : nlohmann::ordered_json(nullptr);
    };
    nlohmann::ordered_json j;
    j["sample_rate_hz"] = a.sample_rate_hz;
    j["band_hz"] = {a.band.low_hz, a.band.high_hz};
    j["reference_ohm"] = a.reference_ohm;
    j["way"] = a.way ? nlohmann::ordered_json(measure::way_name(*a.way)) : nlohmann::ordered_json(nullptr);
    j["expected_u95_relative"] = number(a.expected_u95_relative);
    j["best_reference_ohm"] = number(a.best_reference_ohm);
    j["best_u95_relative"] = number(a.best_u95_relative);
    j["loading"] = nlohmann::ordered_json::array();
    for (const auto& c : a.loading)
        j["loading"].push_back({{"capacitance_f", c.capacitance_f}, {"resonance_hz", c.resonance_hz}});
    j["sentence"] = a.sentence;
    return j;
}

std::string advice_text(const measure::Advice& a) {
    std::string out =
        fmt::format("advice for an interface at {:g} kHz and a reference of {}\n  {}\n", a.sample_rate_hz / 1000,
                    record::format_quantity(a.reference_ohm, record::Unit::ohm, 3), a.sentence);
    if (a.best_reference_ohm && a.best_u95_relative) {
        out += fmt::format("  best reference of the E12 series: {}, +-{:.2g} %\n",
                           record::format_quantity(*a.best_reference_ohm, record::Unit::ohm, 2),
                           100 * *a.best_u95_relative);
    }
    return out + "  (95 %, for -100 dBFS of noise, 5 s of sweep at -6 dBFS, open standard used)\n";
}

// What the interval of the calculated resonance is made of.
std::string budget_text(const model::CoilDescription& coil, const model::Calculated& c) {
    std::string out =
        "the interval comes from (limits of the description's tolerances, or the usual ones; half-width at 95 %)\n";
    for (const model::UncertaintyTerm& term : model::uncertainty_budget(coil, c.frequency_hz)) {
        std::string limit;
        if (term.limit > 0) {
            limit = term.quantity == "turns"      ? fmt::format("+-{:.3g} turns", term.limit)
                    : term.quantity == "top load" ? fmt::format("+-{:.3g} % on every size", 100 * term.limit)
                                                  : "+-" + record::format_quantity(term.limit, record::Unit::metre, 3);
        }
        out += fmt::format("  {:<16}{:<22}{:.2f} %\n", term.quantity, limit, 200 * term.standard_hz / c.frequency_hz);
    }
    return out;
}

nlohmann::ordered_json budget_json(const model::CoilDescription& coil, const model::Calculated& c) {
    auto list = nlohmann::ordered_json::array();
    for (const model::UncertaintyTerm& term : model::uncertainty_budget(coil, c.frequency_hz)) {
        list.push_back(
            {{"quantity", term.quantity},
             {"limit", term.limit > 0 ? nlohmann::ordered_json(term.limit) : nlohmann::ordered_json(nullptr)},
             {"frequency_u_hz", term.standard_hz}});
    }
    return list;
}

nlohmann::ordered_json profile_json(const model::Profile& profile) {
    // Adding zero turns a negative zero into a plain one.
    std::vector<double> voltage = profile.voltage;
    for (double& v : voltage) v += 0.0;
    return {{"position", profile.position}, {"voltage", voltage}, {"current", profile.current}};
}

std::string profile_text(const model::Profile& profile) {
    std::string out =
        "profile along the winding, first resonance (voltage relative to the head, current to the foot)\n";
    out += "  position   voltage   current\n";
    constexpr std::size_t kRows = 20;
    const std::size_t n = profile.position.size();
    const std::size_t step = std::max<std::size_t>(1, n / kRows);
    for (std::size_t i = 0; i < n; i += step) {
        out += fmt::format("  {:8.3f} {:9.4f} {:9.4f}\n", profile.position[i], profile.voltage[i] + 0.0,
                           profile.current[i] + 0.0);
    }
    return out;
}

ExitCode predict(const PredictOptions& o, Console& console) {
    const auto coil = record::read_coil(o.coil_path);
    if (!coil) return console.fail("predict", coil.error());
    const auto calculated = model::calculate(*coil);
    if (!calculated) return console.fail("predict", calculated.error());
    std::optional<model::Profile> profile;
    if (o.profile) {
        const auto model = model::SecondaryModel::build(*coil);
        if (!model) return console.fail("predict", model.error());
        profile = model->profile(0);
    }
    std::optional<measure::Advice> advice;
    if (!std::isnan(o.reference_ohm) && std::isnan(o.rate_hz)) {
        return console.fail("predict",
                            usage_error("--reference belongs to --rate: name the interface's sample rate too"));
    }
    if (!std::isnan(o.rate_hz)) {
        auto given = measure::advise(*coil, o.rate_hz, std::isnan(o.reference_ohm) ? 10e3 : o.reference_ohm);
        if (!given) return console.fail("predict", given.error());
        advice = std::move(*given);
    }
    if (o.json) {
        nlohmann::ordered_json j;
        j["schema"] = "coldtune.prediction.v1";
        j["program_version"] = COLDTUNE_VERSION;
        j["calculated"] = measure::to_json(*calculated);
        j["modes_hz"] = calculated->modes_hz;
        j["budget"] = budget_json(*coil, *calculated);
        j["handbook"] = {{"inductance_h", calculated->handbook.inductance_h},
                         {"capacitance_f", calculated->handbook.capacitance_f},
                         {"frequency_hz", calculated->handbook.frequency_hz}};
        j["head_volts_per_volt"] = calculated->head_volts_per_volt;
        if (coil->primary) j["primary"] = primary_json(*coil, *calculated);
        if (advice) j["advice"] = advice_json(*advice);
        if (profile) j["profile"] = profile_json(*profile);
        console.print(j.dump(2) + "\n");
    } else {
        console.print(describe_calculated(*calculated));
        const double slenderness = coil->secondary.length_m / coil->secondary.diameter_m;
        if (slenderness < 0.1 || slenderness > 50) {
            console.print("  (length over diameter lies outside Medhurst's table, 0.1 to 50: no opinion to go by)\n");
        }
        console.print(budget_text(*coil, *calculated));
        if (coil->primary) console.print(describe_primary(*coil, *calculated));
        if (advice) console.print(advice_text(*advice));
        if (profile) console.print(profile_text(*profile));
    }
    return ExitCode::done;
}

}  // namespace

Command add_predict(CLI::App& root) {
    auto o = std::make_shared<PredictOptions>();
    CLI::App* app = root.add_subcommand("predict", "Calculate the resonance from the coil's dimensions");
    app->add_option("COIL", o->coil_path, "Description of the coil (JSON)")->required()->type_name("COIL.json");
    app->add_flag("--profile", o->profile, "Add voltage and current along the winding");
    add_quantity(*app, "--rate", o->rate_hz, record::Unit::hertz,
                 "Sample rate of the interface: adds advice on which way will serve and how well");
    add_quantity(*app, "--reference", o->reference_ohm, record::Unit::ohm,
                 "Reference resistor for the advice (default 10k)");
    add_json_flag(*app, o->json);
    return {app, [o](Console& console) { return predict(*o, console); }};
}

}  // namespace coldtune::cli
