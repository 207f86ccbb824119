#include "analyzer/bench/bench_file.hpp"

#include <nlohmann/json.hpp>
#include <string>
#include <utility>

#include "analyzer/bench/bench_circuit.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::bench {
namespace {

using namespace record;  // the reader is made of its parts

constexpr JsonLimits limits{std::size_t{1} << 20, 8};
constexpr std::int64_t most_frames = std::int64_t{1} << 40;

// Overwrites a default when the key is there.
void take(ObjectReader& from, std::string_view key, Unit unit, double& into) {
    into = from.optional_quantity(key, unit).value_or(into);
}

std::size_t frames_or(ObjectReader& from, std::string_view key, std::size_t otherwise) {
    return from.has(key) ? static_cast<std::size_t>(from.integer(key, 0, most_frames)) : otherwise;
}

LumpedBranch read_branch(ObjectReader& from) {
    return {from.quantity("inductance", Unit::henry), from.quantity("capacitance", Unit::farad),
            from.quantity("resistance", Unit::ohm)};
}

LumpedCoil read_circuit(ObjectReader& from) {
    LumpedCoil circuit;
    circuit.stray_f = from.optional_quantity("stray", Unit::farad).value_or(0);
    if (from.has("branches")) {
        for (const std::string_view key : {"inductance", "capacitance", "resistance"}) {
            if (from.has(key)) from.fail(key, "belongs inside branches when there are branches");
        }
        for (ObjectReader& branch : from.objects("branches", {"inductance", "capacitance", "resistance"})) {
            circuit.branches.push_back(read_branch(branch));
        }
    } else {
        circuit.branches.push_back(read_branch(from));
    }
    return circuit;
}

CoilOnBench::Deviation read_deviation(ObjectReader& from) {
    CoilOnBench::Deviation deviation;
    take(from, "capacitance", Unit::ratio, deviation.capacitance);
    take(from, "inductance", Unit::ratio, deviation.inductance);
    take(from, "resistance", Unit::ratio, deviation.resistance);
    take(from, "diameter", Unit::ratio, deviation.diameter);
    take(from, "length", Unit::ratio, deviation.length);
    take(from, "turns", Unit::ratio, deviation.turns);
    take(from, "topload", Unit::ratio, deviation.topload);
    return deviation;
}

void read_input(ObjectReader& wiring, std::string_view key, BenchInput& input) {
    auto from = wiring.object(key, {"resistance", "capacitance", "cable", "gain"});
    if (!from) return;
    take(*from, "resistance", Unit::ohm, input.resistance_ohm);
    take(*from, "capacitance", Unit::farad, input.capacitance_f);
    take(*from, "cable", Unit::farad, input.cable_f);
    take(*from, "gain", Unit::ratio, input.gain);
}

void read_wiring(ObjectReader& from, Wiring& wiring) {
    take(from, "source_impedance", Unit::ohm, wiring.source_ohm);
    take(from, "reference", Unit::ohm, wiring.reference_ohm);
    take(from, "reference_shunt", Unit::farad, wiring.reference_shunt_f);
    read_input(from, "generator_input", wiring.generator_input);
    read_input(from, "coil_input", wiring.coil_input);
    if (auto lead = from.object("lead", {"resistance", "inductance"})) {
        take(*lead, "resistance", Unit::ohm, wiring.lead_ohm);
        take(*lead, "inductance", Unit::henry, wiring.lead_h);
    }
    take(from, "load_standard", Unit::ohm, wiring.load_ohm);
    take(from, "pickup", Unit::farad, wiring.pickup_f);
}

void read_harmonics(ObjectReader& nonlinearity, std::string_view key, Nonlinearity& into) {
    auto from = nonlinearity.object(key, {"second", "third"});
    if (!from) return;
    into.second_db = from->optional_quantity("second", Unit::decibel);
    into.third_db = from->optional_quantity("third", Unit::decibel);
}

void read_interface(const Json& json, ObjectReader& from, Interface& interface) {
    take(from, "rate", Unit::hertz, interface.sample_rate_hz);
    if (json.contains("bits") && json["bits"].is_string()) {
        if (from.text("bits") != "float") from.fail("bits", "write \"float\" or a whole number from 8 to 32");
        interface.bits = 0;
    } else if (from.has("bits")) {
        interface.bits = static_cast<int>(from.integer("bits", 8, 32));
    }
    interface.latency_frames = frames_or(from, "latency", interface.latency_frames);
    take(from, "output_full_scale", Unit::volt, interface.output_full_scale_v);
    take(from, "input_full_scale", Unit::volt, interface.input_full_scale_v);
    if (json.contains("noise") && !json["noise"].is_object()) {
        take(from, "noise", Unit::decibel, interface.generator_noise_dbfs);
        interface.coil_noise_dbfs = interface.generator_noise_dbfs;
    } else if (auto noise = from.object("noise", {"generator", "coil"})) {
        take(*noise, "generator", Unit::decibel, interface.generator_noise_dbfs);
        take(*noise, "coil", Unit::decibel, interface.coil_noise_dbfs);
    }
    if (auto offset = from.object("dc_offset", {"generator", "coil"})) {
        take(*offset, "generator", Unit::ratio, interface.generator_dc);
        take(*offset, "coil", Unit::ratio, interface.coil_dc);
    }
    take(from, "clip_level", Unit::ratio, interface.clip_level);
    if (auto filter = from.object("anti_alias", {"order", "corner", "mismatch"})) {
        interface.anti_alias.order = static_cast<int>(filter->integer("order", 0, 40));
        interface.anti_alias.corner_hz = filter->quantity("corner", Unit::hertz);
        take(*filter, "mismatch", Unit::ratio, interface.anti_alias.coil_corner_mismatch);
    }
    const auto ppm = [&](std::string_view key) { return 1e6 * from.optional_quantity(key, Unit::ratio).value_or(0); };
    interface.clock_error_ppm = ppm("clock_error");
    interface.clock_drift_ppm = ppm("clock_drift");
    if (auto nonlinearity = from.object("nonlinearity", {"output", "generator", "coil"})) {
        read_harmonics(*nonlinearity, "output", interface.output_nonlinearity);
        read_harmonics(*nonlinearity, "generator", interface.generator_nonlinearity);
        read_harmonics(*nonlinearity, "coil", interface.coil_nonlinearity);
    }
}

BlockFault read_block(ObjectReader& from) {
    BlockFault block;
    const std::string kind = from.text("kind");
    if (kind == "zeros") {
        block.kind = BlockFault::Kind::zeros;
    } else if (kind == "repeated") {
        block.kind = BlockFault::Kind::repeated;
    } else if (kind == "lost") {
        block.kind = BlockFault::Kind::lost;
    } else if (kind == "inserted") {
        block.kind = BlockFault::Kind::inserted;
    } else {
        from.fail("kind", "allowed are zeros, repeated, lost and inserted");
    }
    block.first_frame = static_cast<std::size_t>(from.integer("first", 0, most_frames));
    block.frames = static_cast<std::size_t>(from.integer("frames", 1, most_frames));
    return block;
}

DeviceChange read_change(ObjectReader& from) {
    DeviceChange change;
    const std::string kind = from.text("kind");
    if (kind == "capacitance") {
        change.kind = DeviceChange::Kind::added_capacitance;
        change.added_f = from.quantity("capacitance", Unit::farad);
        take(from, "ramp", Unit::second, change.ramp_s);
    } else {
        if (kind != "contact_lost") from.fail("kind", "allowed are contact_lost and capacitance");
        for (const std::string_view key : {"ramp", "capacitance"}) {
            if (from.has(key)) from.fail(key, "a lost contact has none");
        }
    }
    change.start_s = from.quantity("at", Unit::second);
    change.length_s = from.quantity("length", Unit::second);
    return change;
}

void read_faults(ObjectReader& from, Bench& bench) {
    Faults& faults = bench.faults;
    faults.swapped_inputs = from.boolean_or("swapped_inputs", false);
    const std::string dead = from.text_or("dead_input", "");
    faults.generator_input_dead = dead == "generator";
    faults.coil_input_dead = dead == "coil";
    if (!dead.empty() && dead != "generator" && dead != "coil") {
        from.fail("dead_input", "allowed are generator and coil");
    }
    bench.wiring.missing_return_f = from.optional_quantity("missing_return", Unit::farad);
    for (ObjectReader& block : from.objects("blocks", {"kind", "first", "frames"})) {
        faults.blocks.push_back(read_block(block));
    }
    for (ObjectReader& change : from.objects("changes", {"kind", "at", "length", "ramp", "capacitance"})) {
        faults.changes.push_back(read_change(change));
    }
    if (auto gain = from.object("automatic_gain", {"level", "time"})) {
        faults.automatic_gain_dbfs = gain->quantity("level", Unit::decibel);
        take(*gain, "time", Unit::second, faults.automatic_gain_s);
    }
    faults.gate_dbfs = from.optional_quantity("gate", Unit::decibel);
    if (auto echo = from.object("echo", {"level", "delay"})) {
        faults.echo_db = echo->quantity("level", Unit::decibel);
        take(*echo, "delay", Unit::second, faults.echo_delay_s);
    }
    faults.converted_rate_hz = from.optional_quantity("converted_rate", Unit::hertz);
    faults.device_lost_s = from.optional_quantity("device_lost_at", Unit::second);
}

}  // namespace

Result<Bench> parse_bench(std::string_view json_text, std::string_view origin) {
    const auto json = parse_json(json_text, origin, limits);
    if (!json) return json.error();
    ObjectReader root(*json, origin,
                      {"name", "coil", "deviate", "q", "sections", "circuit", "loading", "foot_loss", "tank", "primary_circuit",
                       "coupling", "wiring",
                       "interface", "hum", "carriers", "faults", "seed"});
    if (root.error()) return *root.error();
    Bench bench;
    bench.name = root.text_or("name", "");

    if (root.has("coil") == root.has("circuit")) {
        root.fail("coil", "describe either a coil or a circuit, one of the two");
        return *root.error();
    }
    if (root.has("coil")) {
        auto description = parse_coil((*json)["coil"].dump(), std::string(origin) + ": coil");
        if (!description) return description.error();
        CoilOnBench coil;
        coil.description = std::move(*description);
        if (auto from = root.object(
                "deviate", {"capacitance", "inductance", "resistance", "diameter", "length", "turns", "topload"})) {
            coil.deviation = read_deviation(*from);
        }
        coil.q = root.optional_quantity("q", Unit::none);
        if (root.has("sections")) coil.sections = static_cast<std::size_t>(root.integer("sections", 4, 1000));
        // The tank as described stands on the bench unless the bench says otherwise.
        if (coil.description.primary && coil.description.tank) {
            const model::TankLoop tank = model::described_tank(coil.description);
            bench.tank = {tank.inductance_h, tank.resistance_ohm, *tank.capacitance_f};
        }
        if (root.has("coupling")) root.fail("coupling", "belongs to a circuit; a coil's follows from its primary");
        bench.coil = std::move(coil);
    } else {
        for (const std::string_view key : {"deviate", "q", "sections"}) {
            if (root.has(key)) root.fail(key, "belongs to a coil, not to a circuit");
        }
        if (auto from = root.object("circuit", {"inductance", "capacitance", "resistance", "stray", "branches"})) {
            bench.coil = read_circuit(*from);
        }
    }
    take(root, "loading", Unit::farad, bench.loading_f);
    if (auto from = root.object("foot_loss", {"resistance", "exponent"})) {
        bench.foot_resistance_ohm = from->quantity("resistance", Unit::ohm);
        take(*from, "exponent", Unit::none, bench.foot_resistance_exponent);
    }
    if (auto from = root.object("tank", {"inductance", "resistance", "capacitance"})) {
        bench.tank = {from->quantity("inductance", Unit::henry), from->quantity("resistance", Unit::ohm),
                      from->quantity("capacitance", Unit::farad)};
    }
    if (root.has("primary_circuit")) {
        const std::string state = root.text("primary_circuit");
        if (state == "closed") {
            bench.primary_circuit = PrimaryCircuit::closed;
        } else if (state == "shorted") {
            bench.primary_circuit = PrimaryCircuit::shorted;
        } else if (state != "open") {
            root.fail("primary_circuit", "allowed are open, closed and shorted");
        }
    }
    take(root, "coupling", Unit::ratio, bench.coupling);
    if (auto from = root.object("wiring", {"source_impedance", "reference", "reference_shunt", "generator_input",
                                           "coil_input", "lead", "load_standard", "pickup"})) {
        read_wiring(*from, bench.wiring);
    }
    if (auto from = root.object(
            "interface", {"rate", "bits", "latency", "output_full_scale", "input_full_scale", "noise", "dc_offset",
                          "clip_level", "anti_alias", "clock_error", "clock_drift", "nonlinearity"})) {
        read_interface((*json)["interface"], *from, bench.interface);
    }
    if (auto from = root.object("hum", {"frequency", "level", "generator_level"})) {
        Hum hum;
        take(*from, "frequency", Unit::hertz, hum.mains_hz);
        take(*from, "level", Unit::decibel, hum.level_dbfs);
        take(*from, "generator_level", Unit::decibel, hum.generator_level_dbfs);
        bench.hum = hum;
    }
    for (ObjectReader& from : root.objects("carriers", {"frequency", "level"})) {
        bench.carriers.push_back({from.quantity("frequency", Unit::hertz), from.quantity("level", Unit::decibel)});
    }
    if (auto from = root.object("faults", {"swapped_inputs", "dead_input", "missing_return", "blocks", "changes",
                                           "automatic_gain", "gate", "echo", "converted_rate", "device_lost_at"})) {
        read_faults(*from, bench);
    }
    if (root.has("seed")) bench.seed = static_cast<std::uint64_t>(root.integer("seed", 0, std::int64_t{1} << 53));
    if (root.error()) return *root.error();
    if (const Status possible = check_bench(bench); !possible) {
        return Error{possible.error().kind, one_line(origin, 200) + ": " + possible.error().message};
    }
    return bench;
}

Result<Bench> read_bench(const std::filesystem::path& path) {
    const auto text = read_text(path, limits.bytes);
    if (!text) return text.error();
    return parse_bench(*text, path.string());
}

}  // namespace coldtune::bench
