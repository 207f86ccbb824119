// BENCH.json: everything in it arrives, everything else is refused.
#include "analyzer/bench/bench_file.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <string>

#include "analyzer/bench/bench_signal.hpp"
#include "analyzer/record/coil_file.hpp"

namespace coldtune::bench {
namespace {

const std::filesystem::path kDemo = std::filesystem::path(COLDTUNE_FIXTURES) / "demo";
const std::string kCircuit = R"("circuit": {"inductance": "120mH", "capacitance": "31p", "resistance": 610})";

std::string refusal(const std::string& text) {
    const auto bench = parse_bench(text, "b.json");
    if (bench) return "";
    EXPECT_EQ(bench.error().kind, ErrorKind::bad_input);
    EXPECT_EQ(bench.error().message.find('\n'), std::string::npos);
    EXPECT_EQ(bench.error().message.rfind("b.json", 0), 0u) << bench.error().message;
    return bench.error().message;
}

void expect_refused(const std::string& text, const std::string& mention) {
    const std::string message = refusal(text);
    EXPECT_NE(message.find(mention), std::string::npos) << text << "\n -> " << message;
}

TEST(BenchFile, DemoFileIsTheDefaultBench) {
    const auto read = read_bench(kDemo / "bench.json");
    ASSERT_TRUE(read.ok()) << read.error().message;
    const bench::Bench built = bench::default_bench();
    EXPECT_EQ(read->name, built.name);
    EXPECT_EQ(std::get<bench::CoilOnBench>(read->coil).description.name,
              std::get<bench::CoilOnBench>(built.coil).description.name);
    // The same samples from both in hookups that between them use every value.
    const auto from_file = bench::SimulatedBench::build(*read);
    const auto from_code = bench::SimulatedBench::build(built);
    ASSERT_TRUE(from_file.ok() && from_code.ok());
    std::vector<double> stimulus(4800, 0.0);
    stimulus[100] = 0.9;
    using bench::Hookup;
    for (const Hookup hookup : {Hookup::foot, Hookup::pickup, Hookup::tank, Hookup::load, Hookup::short_circuit}) {
        const auto a = from_file->record({hookup, stimulus, 96000});
        const auto b = from_code->record({hookup, stimulus, 96000});
        ASSERT_TRUE(a.ok() && b.ok());
        for (std::size_t i = 0; i < a->frames(); ++i) {
            // One step of 24 bits: a unit in the last place of a value read from text may round the other way.
            ASSERT_NEAR(a->coil[i], b->coil[i], 0x1.1p-23);
            ASSERT_NEAR(a->generator[i], b->generator[i], 0x1.1p-23);
        }
    }
}

TEST(BenchFile, DemoCoilIsTheOneOnTheDemoBench) {
    const auto coil = record::read_coil(kDemo / "coil.json");
    ASSERT_TRUE(coil.ok()) << coil.error().message;
    const auto bench = read_bench(kDemo / "bench.json");
    ASSERT_TRUE(bench.ok());
    const auto& there = std::get<bench::CoilOnBench>(bench->coil).description;
    EXPECT_EQ(coil->name, there.name);
    EXPECT_EQ(coil->secondary.diameter_m, there.secondary.diameter_m);
    EXPECT_EQ(coil->secondary.length_m, there.secondary.length_m);
    EXPECT_EQ(coil->secondary.turns, there.secondary.turns);
    EXPECT_EQ(coil->secondary.wire_diameter_m, there.secondary.wire_diameter_m);
    EXPECT_EQ(coil->secondary.base_height_m, there.secondary.base_height_m);
    ASSERT_EQ(coil->topload.size(), 1u);
    const auto& toroid = std::get<model::Toroid>(coil->topload[0]);
    EXPECT_EQ(toroid.outer_diameter_m, std::get<model::Toroid>(there.topload.at(0)).outer_diameter_m);
}

TEST(BenchFile, EveryKeyArrives) {
    const auto read = parse_bench(R"({
        "name": "all of it",
        "circuit": {"stray": "5p", "branches": [{"inductance": "120mH", "capacitance": "31p", "resistance": "610"},
                                                {"inductance": 0.02, "capacitance": "40p", "resistance": "300ohm"}]},
        "loading": "100p",
        "foot_loss": {"resistance": 22, "exponent": 0.5},
        "tank": {"inductance": "41u", "resistance": "60m", "capacitance": "96n"},
        "wiring": {"source_impedance": 120, "reference": "9.89k", "reference_shunt": "0.4p",
                   "generator_input": {"resistance": "980k", "capacitance": "11p", "cable": "140p", "gain": 1.01},
                   "coil_input": {"resistance": "1.03M", "capacitance": "13p", "cable": "155p", "gain": 0.99},
                   "lead": {"resistance": "80m", "inductance": "900n"}, "load_standard": "10.02k", "pickup": "0.07p"},
        "interface": {"rate": "96k", "bits": "float", "latency": 640, "output_full_scale": "1V", "input_full_scale": 1.5,
                      "noise": {"generator": "-95dB", "coil": -105}, "dc_offset": {"generator": 0.001, "coil": "1%"},
                      "clip_level": 0.9, "anti_alias": {"order": 6, "corner": "45k", "mismatch": "1%"},
                      "clock_error": "20ppm", "clock_drift": "-3ppm",
                      "nonlinearity": {"output": {"second": -70}, "generator": {"third": "-80dB"},
                                       "coil": {"second": -60, "third": -65}}},
        "hum": {"frequency": 60, "level": "-50dB", "generator_level": -90},
        "carriers": [{"frequency": "60k", "level": -70}, {"frequency": "77.5k", "level": -75}],
        "faults": {"swapped_inputs": true, "dead_input": "coil", "missing_return": "35p",
                   "blocks": [{"kind": "zeros", "first": 10, "frames": 5}, {"kind": "repeated", "first": 1, "frames": 1},
                              {"kind": "lost", "first": 2, "frames": 3}, {"kind": "inserted", "first": 4, "frames": 6}],
                   "changes": [{"kind": "contact_lost", "at": 0.5, "length": "20ms"},
                               {"kind": "capacitance", "at": 1, "length": 2, "ramp": "0.1s", "capacitance": "3p"}],
                   "automatic_gain": {"level": -20, "time": "50ms"}, "gate": -60,
                   "echo": {"level": -30, "delay": "12ms"}, "converted_rate": "48k", "device_lost_at": 1.5},
        "seed": 99})",
                                  "b.json");
    ASSERT_TRUE(read.ok()) << read.error().message;
    const bench::Bench& b = *read;
    const auto& coil = std::get<bench::LumpedCoil>(b.coil);
    EXPECT_EQ(b.name, "all of it");
    ASSERT_EQ(coil.branches.size(), 2u);
    EXPECT_DOUBLE_EQ(coil.branches[0].inductance_h, 0.12);
    EXPECT_DOUBLE_EQ(coil.branches[1].capacitance_f, 40e-12);
    EXPECT_DOUBLE_EQ(coil.branches[1].resistance_ohm, 300);
    EXPECT_DOUBLE_EQ(coil.stray_f, 5e-12);
    EXPECT_DOUBLE_EQ(b.loading_f, 100e-12);
    EXPECT_DOUBLE_EQ(b.foot_resistance_ohm, 22);
    EXPECT_DOUBLE_EQ(b.foot_resistance_exponent, 0.5);
    EXPECT_DOUBLE_EQ(b.tank.inductance_h, 41e-6);
    EXPECT_DOUBLE_EQ(b.tank.resistance_ohm, 0.06);
    EXPECT_DOUBLE_EQ(b.tank.capacitance_f, 96e-9);
    EXPECT_DOUBLE_EQ(b.wiring.source_ohm, 120);
    EXPECT_DOUBLE_EQ(b.wiring.reference_ohm, 9890);
    EXPECT_DOUBLE_EQ(b.wiring.reference_shunt_f, 0.4e-12);
    EXPECT_DOUBLE_EQ(b.wiring.generator_input.resistance_ohm, 980e3);
    EXPECT_DOUBLE_EQ(b.wiring.generator_input.gain, 1.01);
    EXPECT_DOUBLE_EQ(b.wiring.coil_input.capacitance_f, 13e-12);
    EXPECT_DOUBLE_EQ(b.wiring.coil_input.cable_f, 155e-12);
    EXPECT_DOUBLE_EQ(b.wiring.lead_ohm, 0.08);
    EXPECT_DOUBLE_EQ(b.wiring.lead_h, 900e-9);
    EXPECT_DOUBLE_EQ(b.wiring.load_ohm, 10020);
    EXPECT_DOUBLE_EQ(b.wiring.pickup_f, 0.07e-12);
    EXPECT_DOUBLE_EQ(b.wiring.missing_return_f.value(), 35e-12);
    EXPECT_DOUBLE_EQ(b.interface.sample_rate_hz, 96000);
    EXPECT_EQ(b.interface.bits, 0);
    EXPECT_EQ(b.interface.latency_frames, 640u);
    EXPECT_DOUBLE_EQ(b.interface.output_full_scale_v, 1);
    EXPECT_DOUBLE_EQ(b.interface.input_full_scale_v, 1.5);
    EXPECT_DOUBLE_EQ(b.interface.generator_noise_dbfs, -95);
    EXPECT_DOUBLE_EQ(b.interface.coil_noise_dbfs, -105);
    EXPECT_DOUBLE_EQ(b.interface.generator_dc, 0.001);
    EXPECT_DOUBLE_EQ(b.interface.coil_dc, 0.01);
    EXPECT_DOUBLE_EQ(b.interface.clip_level, 0.9);
    EXPECT_EQ(b.interface.anti_alias.order, 6);
    EXPECT_DOUBLE_EQ(b.interface.anti_alias.corner_hz, 45000);
    EXPECT_DOUBLE_EQ(b.interface.anti_alias.coil_corner_mismatch, 0.01);
    EXPECT_NEAR(b.interface.clock_error_ppm, 20, 1e-12);
    EXPECT_NEAR(b.interface.clock_drift_ppm, -3, 1e-12);
    EXPECT_DOUBLE_EQ(b.interface.output_nonlinearity.second_db.value(), -70);
    EXPECT_FALSE(b.interface.output_nonlinearity.third_db.has_value());
    EXPECT_DOUBLE_EQ(b.interface.generator_nonlinearity.third_db.value(), -80);
    EXPECT_DOUBLE_EQ(b.interface.coil_nonlinearity.third_db.value(), -65);
    EXPECT_DOUBLE_EQ(b.hum.value().mains_hz, 60);
    EXPECT_DOUBLE_EQ(b.hum.value().level_dbfs, -50);
    EXPECT_DOUBLE_EQ(b.hum.value().generator_level_dbfs, -90);
    ASSERT_EQ(b.carriers.size(), 2u);
    EXPECT_DOUBLE_EQ(b.carriers[1].frequency_hz, 77500);
    EXPECT_TRUE(b.faults.swapped_inputs);
    EXPECT_TRUE(b.faults.coil_input_dead);
    EXPECT_FALSE(b.faults.generator_input_dead);
    ASSERT_EQ(b.faults.blocks.size(), 4u);
    using Block = bench::BlockFault::Kind;
    EXPECT_EQ(b.faults.blocks[0].kind, Block::zeros);
    EXPECT_EQ(b.faults.blocks[1].kind, Block::repeated);
    EXPECT_EQ(b.faults.blocks[2].kind, Block::lost);
    EXPECT_EQ(b.faults.blocks[3].kind, Block::inserted);
    EXPECT_EQ(b.faults.blocks[3].first_frame, 4u);
    EXPECT_EQ(b.faults.blocks[3].frames, 6u);
    ASSERT_EQ(b.faults.changes.size(), 2u);
    EXPECT_EQ(b.faults.changes[0].kind, bench::DeviceChange::Kind::contact_lost);
    EXPECT_DOUBLE_EQ(b.faults.changes[0].length_s, 0.02);
    EXPECT_DOUBLE_EQ(b.faults.changes[1].added_f, 3e-12);
    EXPECT_DOUBLE_EQ(b.faults.changes[1].ramp_s, 0.1);
    EXPECT_DOUBLE_EQ(b.faults.automatic_gain_dbfs.value(), -20);
    EXPECT_DOUBLE_EQ(b.faults.automatic_gain_s, 0.05);
    EXPECT_DOUBLE_EQ(b.faults.gate_dbfs.value(), -60);
    EXPECT_DOUBLE_EQ(b.faults.echo_db.value(), -30);
    EXPECT_DOUBLE_EQ(b.faults.echo_delay_s, 0.012);
    EXPECT_DOUBLE_EQ(b.faults.converted_rate_hz.value(), 48000);
    EXPECT_DOUBLE_EQ(b.faults.device_lost_s.value(), 1.5);
    EXPECT_EQ(b.seed, 99u);
}

TEST(BenchFile, CoilWithItsDeviations) {
    const auto read = parse_bench(R"({"coil": {"secondary": {"diameter": "16cm", "length": "75cm", "turns": 2500,
        "wire": "0.25mm", "base_height": "15cm"}}, "deviate": {"capacitance": 1.03, "inductance": 0.98, "resistance": 1.5,
        "diameter": 1.01, "length": 1.02, "turns": 0.99, "topload": 1.04}, "q": 150, "sections": 30})",
                                  "b.json");
    ASSERT_TRUE(read.ok()) << read.error().message;
    const auto& coil = std::get<bench::CoilOnBench>(read->coil);
    EXPECT_DOUBLE_EQ(coil.description.secondary.diameter_m, 0.16);
    EXPECT_DOUBLE_EQ(coil.deviation.capacitance, 1.03);
    EXPECT_DOUBLE_EQ(coil.deviation.inductance, 0.98);
    EXPECT_DOUBLE_EQ(coil.deviation.resistance, 1.5);
    EXPECT_DOUBLE_EQ(coil.deviation.diameter, 1.01);
    EXPECT_DOUBLE_EQ(coil.deviation.length, 1.02);
    EXPECT_DOUBLE_EQ(coil.deviation.turns, 0.99);
    EXPECT_DOUBLE_EQ(coil.deviation.topload, 1.04);
    EXPECT_DOUBLE_EQ(coil.q.value(), 150);
    EXPECT_EQ(coil.sections.value(), 30u);
}

TEST(BenchFile, ShortFormsAndDefaults) {
    const auto read = parse_bench("{" + kCircuit + R"(, "interface": {"noise": "-90dB", "bits": 16}})", "b.json");
    ASSERT_TRUE(read.ok()) << read.error().message;
    EXPECT_DOUBLE_EQ(std::get<bench::LumpedCoil>(read->coil).branches.at(0).capacitance_f, 31e-12);
    EXPECT_DOUBLE_EQ(read->interface.generator_noise_dbfs, -90);
    EXPECT_DOUBLE_EQ(read->interface.coil_noise_dbfs, -90);
    EXPECT_EQ(read->interface.bits, 16);
    EXPECT_EQ(read->wiring.reference_ohm, bench::Wiring{}.reference_ohm);
    EXPECT_FALSE(read->hum.has_value());
}

TEST(BenchFile, RefusesWhatIsNotABench) {
    EXPECT_EQ(refusal("{" + kCircuit + "}"), "");
    expect_refused("", "");
    expect_refused("[]", "");
    expect_refused("{}", "coil");
    expect_refused("{" + kCircuit + R"(, "coil": {}})", "coil");
    expect_refused("{" + kCircuit + R"(, "q": 100})", "q");
    expect_refused("{" + kCircuit + R"(, "wirring": {}})", "wirring");
    expect_refused("{" + kCircuit + R"(, "wiring": {"reference": "10kHz"}})", "wiring.reference");
    expect_refused("{" + kCircuit + R"(, "wiring": {"reference": -5}})", "wiring.reference");
    expect_refused("{" + kCircuit + R"(, "wiring": {"coil_input": {"gain": 0}}})", "wiring.coil_input.gain");
    expect_refused("{" + kCircuit + R"(, "interface": {"bits": 4}})", "bits");
    expect_refused("{" + kCircuit + R"(, "interface": {"bits": "double"}})", "bits");
    expect_refused("{" + kCircuit + R"(, "interface": {"rate": 4000}})", "interface.rate");
    expect_refused("{" + kCircuit + R"(, "interface": {"noise": {"both": -90}}})", "both");
    expect_refused("{" + kCircuit + R"(, "faults": {"dead_input": "left"}})", "dead_input");
    expect_refused("{" + kCircuit + R"(, "faults": {"blocks": [{"kind": "eaten", "first": 1, "frames": 1}]}})", "kind");
    expect_refused("{" + kCircuit + R"(, "faults": {"changes": [{"kind": "contact_lost", "at": 1}]}})", "length");
    expect_refused("{" + kCircuit + R"(, "faults": {"changes": [{"kind": "capacitance", "at": 1, "length": 1}]}})",
                   "capacitance");
    expect_refused("{" + kCircuit + R"(, "seed": -1})", "seed");
    expect_refused(R"({"circuit": {"inductance": 0.1, "capacitance": "31p"}})", "resistance");
    expect_refused(R"({"circuit": {"branches": []}})", "branches");
    expect_refused(
        R"({"circuit": {"inductance": 1, "branches": [{"inductance": 1, "capacitance": 1, "resistance": 1}]}})",
        "circuit.inductance");
    expect_refused(R"({"coil": {"secondary": {"diameter": "16cm"}}})", "secondary.length");
    const auto missing = read_bench(kDemo / "no such file.json");
    ASSERT_FALSE(missing.ok());
    EXPECT_EQ(missing.error().kind, ErrorKind::bad_input);
}

}  // namespace
}  // namespace coldtune::bench
