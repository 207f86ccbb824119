// The simulated bench's circuit against ngspice on the same netlist.
//
// fixtures/captures/ngspice/bench_nodes.json is written by fixtures/make_ngspice_captures.py (ngspice 39, AC analysis).
#include <gtest/gtest.h>

#include <complex>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <string>

#include "analyzer/bench/bench_circuit.hpp"

namespace coldtune::bench {
namespace {

using Complex = std::complex<double>;
using Json = nlohmann::json;

Json nodes() {
    const std::filesystem::path path = std::filesystem::path(COLDTUNE_FIXTURES) / "captures/ngspice/bench_nodes.json";
    std::ifstream file(path);
    EXPECT_TRUE(file.good()) << path;
    return Json::parse(file);
}

Bench bench_of(const Json& n) {
    Bench bench;
    const Json& c = n["coil"];
    bench.coil = LumpedCoil{{{c["inductance_h"], c["capacitance_f"], c["resistance_ohm"]},
                             {c["second_inductance_h"], c["second_capacitance_f"], c["second_resistance_ohm"]}},
                            c["stray_f"]};
    bench.foot_resistance_ohm = c["foot_resistance_ohm"];
    bench.tank = {n["tank"]["inductance_h"], n["tank"]["resistance_ohm"], n["tank"]["capacitance_f"]};
    Wiring& w = bench.wiring;
    w.source_ohm = n["source_ohm"];
    w.reference_ohm = n["reference_ohm"];
    w.reference_shunt_f = n["reference_shunt_f"];
    w.generator_input = {n["input_1"][0], n["input_1"][1], n["input_1"][2], 1};
    w.coil_input = {n["input_2"][0], n["input_2"][1], n["input_2"][2], 1};
    w.lead_ohm = n["lead_ohm"];
    w.lead_h = n["lead_h"];
    w.load_ohm = n["load_ohm"];
    w.pickup_f = n["pickup_f"];
    return bench;
}

TEST(NgspiceBench, NodeVoltagesAgree) {
    const Json n = nodes();
    const std::map<std::string, Hookup> hookups = {
        {"loopback", Hookup::loopback}, {"open", Hookup::open},     {"short", Hookup::short_circuit},
        {"load", Hookup::load},         {"tank", Hookup::tank},     {"foot", Hookup::foot},
        {"winding", Hookup::winding},   {"pickup", Hookup::pickup}, {"foot_missing_return", Hookup::foot}};
    ASSERT_EQ(n["cases"].size(), hookups.size());
    for (const auto& [name, hookup] : hookups) {
        Bench bench = bench_of(n);
        if (name == "foot_missing_return") bench.wiring.missing_return_f = n["missing_return_f"].get<double>();
        const auto circuit = BenchCircuit::build(bench, hookup);
        ASSERT_TRUE(circuit.ok()) << circuit.error().message;
        for (std::size_t i = 0; i < n["frequencies_hz"].size(); ++i) {
            const double f = n["frequencies_hz"][i];
            const NodeVoltages got = circuit->solve(f, true);
            const Json& row = n["cases"][name][i];
            const auto expect_near = [&](const Complex& value, const Json& expected, const char* node) {
                const Complex there(expected[0].get<double>(), expected[1].get<double>());
                // Both solve the same equations in double precision. ngspice's matrix holds conductances from 1e-15 to
                // 12 S, which costs it up to 1e-10 where a small voltage is the difference of large currents.
                EXPECT_LT(std::abs(value - there), 1e-9 * std::abs(there)) << name << " " << node << " at " << f;
            };
            expect_near(got.generator, row[0], "generator");
            expect_near(got.coil, row[1], "coil");
            if (row.size() > 2) expect_near(got.head, row[2], "head");
        }
    }
}

}  // namespace
}  // namespace coldtune::bench
