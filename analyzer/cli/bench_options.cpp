#include "analyzer/cli/bench_options.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>

#include "analyzer/cli/command.hpp"
#include "analyzer/record/coil_file.hpp"

namespace coldtune::cli {
namespace {

Status read_standard(const std::string& path, std::optional<measure::Standard>& into) {
    if (path.empty()) return Done{};
    auto file = audio::read_capture(path);
    if (!file) return file.error();
    into = measure::Standard{std::move(*file), path};
    return Done{};
}

}  // namespace

void add_bench_options(CLI::App& app, BenchOptions& o) {
    std::vector<std::string> names;
    for (const auto& h : bench::all_hookups()) names.emplace_back(h.name);
    app.add_option("--hookup", o.hookup_name, "How the bench is wired: " + CLI::detail::join(names, ", "))
        ->required()
        ->check(CLI::IsMember(names))
        ->type_name("NAME");
    add_quantity(app, "--reference", o.reference_ohm, record::Unit::ohm, "Reference resistor, e.g. 10k")->required();
    app.add_option("--open", o.open_path, "Capture of the open standard")->type_name("FILE");
    app.add_option("--short", o.short_path, "Capture of the short standard")->type_name("FILE");
    auto* load = app.add_option("--load", o.load_path, "Capture of the load standard")->type_name("FILE");
    auto* load_value =
        add_quantity(app, "--load-value", o.load_ohm, record::Unit::ohm, "Resistor of the load standard, e.g. 10k");
    load->needs(load_value);
    app.add_option("--coil", o.coil_path, "Description of the coil, for the calculated value")->type_name("COIL.json");
    add_quantity(app, "--input-r", o.input_resistance_ohm, record::Unit::ohm,
                 "Declared resistance of input 2 (default 1M); the open standard replaces it");
    add_quantity(app, "--input-c", o.input_capacitance_f, record::Unit::farad,
                 "Declared capacitance of input 2 and its cable (default 150p); the open standard replaces it");
    add_quantity(app, "--reference-tolerance", o.reference_tolerance, record::Unit::ratio,
                 "Limit of the reference resistor (default 1%)");
    add_quantity(app, "--load-tolerance", o.load_tolerance, record::Unit::ratio,
                 "Limit of the load resistor (default 0.1%)")
        ->needs(load_value);
    add_quantity(app, "--clock-tolerance", o.clock_tolerance, record::Unit::ratio,
                 "Limit of the interface's clock (default 50ppm)");
}

void add_coupled_flag(CLI::App& app, BenchOptions& o) {
    app.add_flag("--coupled", o.coupled,
                 "With --hookup foot: the tank is closed; find both circuits and their coupling from the two peaks");
}

Result<measure::AnalysisRequest> declared_bench(const BenchOptions& o) {
    measure::AnalysisRequest request;
    request.hookup = *bench::hookup_from_name(o.hookup_name);
    request.coupled = o.coupled;
    // Said here, it is said before anything is swept.
    if (o.coupled && request.hookup != bench::Hookup::foot) {
        return usage_error("two coupled circuits (--coupled) are measured at the foot of the secondary: --hookup foot");
    }
    const auto in_range = [](double v, double low, double high) { return std::isfinite(v) && v >= low && v <= high; };
    if (!in_range(o.reference_ohm, 1, 1e7)) {
        return usage_error(fmt::format("--reference {} ohm is outside 1 ohm to 10 Mohm", o.reference_ohm));
    }
    // Whoever forgot --load would believe that the load was taken into account.
    if (o.load_ohm != 0 && o.load_path.empty() && !o.one_input && request.hookup != bench::Hookup::load) {
        return usage_error(
            "--load-value belongs to --load FILE, the capture of that standard; give it or leave both out");
    }
    if (!o.load_path.empty() && !in_range(o.load_ohm, 1, 1e7)) {
        return usage_error(fmt::format("--load-value {} ohm is outside 1 ohm to 10 Mohm", o.load_ohm));
    }
    if (!in_range(o.input_resistance_ohm, 1e3, 1e12)) {
        return usage_error(fmt::format("--input-r {} ohm is outside 1 kohm to 1 Tohm", o.input_resistance_ohm));
    }
    if (!in_range(o.input_capacitance_f, 0, 1e-7)) {
        return usage_error(fmt::format("--input-c {} F is outside 0 to 100 nF", o.input_capacitance_f));
    }
    for (const auto& [name, value] :
         {std::pair{"--reference-tolerance", o.reference_tolerance}, std::pair{"--load-tolerance", o.load_tolerance},
          std::pair{"--clock-tolerance", o.clock_tolerance}}) {
        if (!in_range(value, 0, 0.5)) return usage_error(fmt::format("{} {} is outside 0 to 50 %", name, value));
    }
    request.bench = {o.reference_ohm, o.input_resistance_ohm, o.input_capacitance_f, o.load_ohm};
    request.tolerances.reference_relative = o.reference_tolerance;
    request.tolerances.load_relative = o.load_tolerance;
    request.tolerances.clock_ppm = o.clock_tolerance * 1e6;
    return request;
}

Result<measure::AnalysisRequest> make_request(const BenchOptions& o) {
    auto declared = declared_bench(o);
    if (!declared) return declared;
    measure::AnalysisRequest& request = *declared;
    if (auto s = read_standard(o.open_path, request.open); !s) return s.error();
    if (auto s = read_standard(o.short_path, request.short_circuit); !s) return s.error();
    if (auto s = read_standard(o.load_path, request.load); !s) return s.error();
    if (!o.coil_path.empty()) {
        auto coil = record::read_coil(o.coil_path);
        if (!coil) return coil.error();
        request.description = std::move(*coil);
    }
    return declared;
}

}  // namespace coldtune::cli
