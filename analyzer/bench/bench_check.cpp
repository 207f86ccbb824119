// Ranges of a bench's values, and the bench of the demonstration.
#include <cmath>
#include <initializer_list>

#include <fmt/format.h>

#include "analyzer/bench/bench_circuit.hpp"

namespace coldtune::bench {
namespace {

struct Range {
    const char* name;
    double value;
    double low;
    double high;
};

Status check_ranges(std::initializer_list<Range> ranges) {
    for (const Range& range : ranges) {
        // Written so that a NaN fails.
        if (!(range.value >= range.low && range.value <= range.high)) {
            return bad_input(fmt::format("{} is {}, but must lie between {} and {}.", range.name, range.value,
                                         range.low, range.high));
        }
    }
    return Done{};
}

Status check_coil(const Bench& bench) {
    if (const auto* lumped = std::get_if<LumpedCoil>(&bench.coil)) {
        if (lumped->branches.empty() || lumped->branches.size() > 8) {
            return bad_input("circuit.branches needs 1 to 8 branches.");
        }
        for (const LumpedBranch& branch : lumped->branches) {
            if (const Status ok = check_ranges({{"circuit.inductance", branch.inductance_h, 1e-9, 1e3},
                                                {"circuit.capacitance", branch.capacitance_f, 1e-15, 1e-3},
                                                {"circuit.resistance", branch.resistance_ohm, 1e-6, 1e9}});
                !ok) {
                return ok;
            }
        }
        return check_ranges({{"circuit.stray", lumped->stray_f, 0, 1e-6}});
    }
    const CoilOnBench& coil = std::get<CoilOnBench>(bench.coil);
    const CoilOnBench::Deviation& deviation = coil.deviation;
    if (coil.q) {
        if (const Status ok = check_ranges({{"q", *coil.q, 5, 1e5}}); !ok) return ok;
    }
    if (coil.sections && (*coil.sections < 4 || *coil.sections > 1000)) {
        return bad_input("sections must lie between 4 and 1000.");
    }
    if (const Status ok = check_ranges({{"deviate.capacitance", deviation.capacitance, 0.1, 10},
                                        {"deviate.inductance", deviation.inductance, 0.1, 10},
                                        {"deviate.resistance", deviation.resistance, 0.01, 1000},
                                        {"deviate.diameter", deviation.diameter, 0.5, 2},
                                        {"deviate.length", deviation.length, 0.5, 2},
                                        {"deviate.turns", deviation.turns, 0.5, 2},
                                        {"deviate.topload", deviation.topload, 0.5, 2}});
        !ok) {
        return ok;
    }
    return model::check_geometry(coil.description);
}

Status check_primary(const Bench& bench) {
    if (bench.primary_circuit == PrimaryCircuit::open) return Done{};
    if (const auto* coil = std::get_if<CoilOnBench>(&bench.coil)) {
        if (coil->description.primary) return Done{};
        return bad_input("primary_circuit is not open, but the coil has no primary; describe it under coil.primary.");
    }
    return check_ranges({{"coupling", bench.coupling, 1e-6, 0.95}});
}

Status check_input(const char* name, const BenchInput& input) {
    const std::string prefix(name);
    return check_ranges({{(prefix + ".resistance").c_str(), input.resistance_ohm, 1, 1e15},
                         {(prefix + ".capacitance").c_str(), input.capacitance_f, 0, 1e-6},
                         {(prefix + ".cable").c_str(), input.cable_f, 0, 1e-6},
                         {(prefix + ".gain").c_str(), input.gain, 1e-3, 1e3}});
}

Status check_wiring(const Wiring& wiring) {
    if (const Status ok = check_input("wiring.generator_input", wiring.generator_input); !ok) return ok;
    if (const Status ok = check_input("wiring.coil_input", wiring.coil_input); !ok) return ok;
    if (wiring.missing_return_f) {
        if (const Status ok = check_ranges({{"faults.missing_return", *wiring.missing_return_f, 1e-15, 1e-3}}); !ok) {
            return ok;
        }
    }
    return check_ranges({{"wiring.source_impedance", wiring.source_ohm, 1e-3, 1e6},
                         {"wiring.reference", wiring.reference_ohm, 1e-3, 1e9},
                         {"wiring.reference_shunt", wiring.reference_shunt_f, 0, 1e-6},
                         {"wiring.lead.resistance", wiring.lead_ohm, 0, 1e6},
                         {"wiring.lead.inductance", wiring.lead_h, 0, 1},
                         {"wiring.load_standard", wiring.load_ohm, 1e-3, 1e9},
                         {"wiring.pickup", wiring.pickup_f, 1e-18, 1e-6}});
}

Status check_interface(const Interface& interface) {
    if (interface.bits != 0 && (interface.bits < 8 || interface.bits > 32)) {
        return bad_input("interface.bits must be \"float\" or lie between 8 and 32.");
    }
    if (interface.latency_frames > 10'000'000) return bad_input("interface.latency must be at most 10000000 frames.");
    if (interface.anti_alias.order < 0 || interface.anti_alias.order > 40) {
        return bad_input("interface.anti_alias.order must lie between 0 and 40.");
    }
    if (interface.anti_alias.order > 0) {
        if (const Status ok =
                check_ranges({{"interface.anti_alias.corner", interface.anti_alias.corner_hz, 1, 1e9},
                              {"interface.anti_alias.mismatch", interface.anti_alias.coil_corner_mismatch, -0.5, 0.5}});
            !ok) {
            return ok;
        }
    }
    return check_ranges({{"interface.rate", interface.sample_rate_hz, 8e3, 1e6},
                         {"interface.output_full_scale", interface.output_full_scale_v, 1e-6, 1e3},
                         {"interface.input_full_scale", interface.input_full_scale_v, 1e-6, 1e3},
                         {"interface.noise.generator", interface.generator_noise_dbfs, -400, 0},
                         {"interface.noise.coil", interface.coil_noise_dbfs, -400, 0},
                         {"interface.dc_offset.generator", interface.generator_dc, -1, 1},
                         {"interface.dc_offset.coil", interface.coil_dc, -1, 1},
                         {"interface.clip_level", interface.clip_level, 1e-6, 1},
                         {"interface.clock_error", interface.clock_error_ppm, -1e5, 1e5},
                         {"interface.clock_drift", interface.clock_drift_ppm, -1e4, 1e4}});
}

Status check_faults(const Bench& bench) {
    const Faults& faults = bench.faults;
    for (const DeviceChange& change : faults.changes) {
        if (const Status ok = check_ranges({{"faults.changes.at", change.start_s, 0, 1e5},
                                            {"faults.changes.length", change.length_s, 0, 1e5},
                                            {"faults.changes.ramp", change.ramp_s, 0, 1e5},
                                            {"faults.changes.capacitance", change.added_f, 0, 1e-6}});
            !ok) {
            return ok;
        }
    }
    if (bench.hum) {
        if (const Status ok = check_ranges({{"hum.frequency", bench.hum->mains_hz, 1, 1000},
                                            {"hum.level", bench.hum->level_dbfs, -400, 20},
                                            {"hum.generator_level", bench.hum->generator_level_dbfs, -400, 20}});
            !ok) {
            return ok;
        }
    }
    for (const Carrier& carrier : bench.carriers) {
        if (const Status ok = check_ranges({{"carriers.frequency", carrier.frequency_hz, 0, 1e9},
                                            {"carriers.level", carrier.level_dbfs, -400, 20}});
            !ok) {
            return ok;
        }
    }
    return check_ranges({{"faults.automatic_gain.level", faults.automatic_gain_dbfs.value_or(-20), -200, 0},
                         {"faults.automatic_gain.time", faults.automatic_gain_s, 1e-4, 100},
                         {"faults.gate", faults.gate_dbfs.value_or(-60), -200, 0},
                         {"faults.echo.level", faults.echo_db.value_or(-60), -200, 0},
                         {"faults.echo.delay", faults.echo_delay_s, 0, 10},
                         {"faults.converted_rate", faults.converted_rate_hz.value_or(48000), 1000, 1e6},
                         {"faults.device_lost_at", faults.device_lost_s.value_or(0), 0, 1e6}});
}

}  // namespace

Status check_bench(const Bench& bench) {
    if (const Status ok = check_coil(bench); !ok) return ok;
    if (const Status ok = check_primary(bench); !ok) return ok;
    if (const Status ok = check_wiring(bench.wiring); !ok) return ok;
    if (const Status ok = check_interface(bench.interface); !ok) return ok;
    if (const Status ok = check_faults(bench); !ok) return ok;
    return check_ranges({{"loading", bench.loading_f, 0, 1e-6},
                         {"foot_loss.resistance", bench.foot_resistance_ohm, 0, 1e9},
                         {"foot_loss.exponent", bench.foot_resistance_exponent, -4, 4},
                         {"tank.inductance", bench.tank.inductance_h, 1e-12, 1e3},
                         {"tank.resistance", bench.tank.resistance_ohm, 1e-9, 1e9},
                         {"tank.capacitance", bench.tank.capacitance_f, 1e-15, 1}});
}

}  // namespace coldtune::bench
