// A bench that exists only in numbers: what is wired to what, how good the interface is, what goes wrong.
//
// It stands behind the same door as a real interface (simulated_port.hpp) and plays the coil, the cables and the
// interface with a circuit of its own (bench_circuit.hpp), never with the formulas that later undo them. SI units
// throughout; the defaults are an ordinary good interface with nothing connected wrongly. Deterministic: the same
// bench, hookup and stimulus give the same samples on every machine.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/model/geometry.hpp"

namespace coldtune::bench {

// A coil given by its geometry: the distributed model plays it. Multipliers make the true coil differ from the one
// described (1.03 = 3 % more).
struct CoilOnBench {
    model::CoilDescription description;
    struct Deviation {
        double capacitance = 1;  // of the finished model, all capacitances
        double inductance = 1;   // of the finished model, all inductances
        double resistance = 1;
        double diameter = 1;  // of the geometry, before the model is built
        double length = 1;
        double turns = 1;
        double topload = 1;  // every size of every top load, not its height
    } deviation;
    // Unloaded Q at the first resonance; the resistance of the wire is scaled to give it. nullopt = as calculated.
    std::optional<double> q;
    // nullopt = chosen by the model itself.
    std::optional<std::size_t> sections;
};

// Series inductance - resistance - capacitance from the foot to the return; the head is the top of the capacitor.
struct LumpedBranch {
    double inductance_h = 0;
    double capacitance_f = 0;
    double resistance_ohm = 0;
};

// Branches side by side at the foot (each makes a peak), with a stray capacitance across them. `winding`, `pickup` and
// loading act on the first branch.
struct LumpedCoil {
    std::vector<LumpedBranch> branches;
    double stray_f = 0;
};

// Primary and tank capacitor: inductance with its resistance, across the capacitor.
struct LumpedTank {
    double inductance_h = 40e-6;
    double resistance_ohm = 0.05;
    double capacitance_f = 12e-9;
};

// What the primary's circuit does while the secondary is measured (foot, winding, pickup), and in the hookup tank,
// where anything but open lets the tank see the secondary standing in it with its foot on the return.
enum class PrimaryCircuit {
    open,     // gap open: the secondary alone
    closed,   // gap bridged: Bench::tank couples to the secondary
    shorted,  // primary shorted on itself
};

struct BenchInput {
    double resistance_ohm = 1e6;
    double capacitance_f = 12e-12;
    double cable_f = 150e-12;
    double gain = 1;
};

struct Wiring {
    double source_ohm = 100;
    double reference_ohm = 10e3;     // true value
    double reference_shunt_f = 0.0;  // capacitance across the reference resistor
    BenchInput generator_input;
    BenchInput coil_input;
    // Between the junction (reference resistor, second input) and whatever is measured.
    double lead_ohm = 0;
    double lead_h = 0;
    double load_ohm = 10e3;      // true value of the load standard
    double pickup_f = 0.05e-12;  // between the head and the bare wire
    // Nothing but this capacitance between the device's ground and the bench's. nullopt = properly connected.
    std::optional<double> missing_return_f;
};

// Levels in dBFS are those of AES17: rms against the rms of a full-scale sine. A sine's level is thereby its peak.
struct Hum {
    double mains_hz = 50;
    double level_dbfs = -60;                                 // of the fundamental, coil side
    double generator_level_dbfs = -400;                      // the same, generator side
    std::vector<double> harmonics{1, 0.1, 0.3, 0.05, 0.15};  // relative to the fundamental, first = fundamental
};

// A steady tone picked up by the coil (a broadcast carrier, a switching supply).
struct Carrier {
    double frequency_hz = 0;
    double level_dbfs = -60;
};

// Low-pass of both inputs, Butterworth. Order 0 = none.
struct AntiAlias {
    int order = 0;
    double corner_hz = 0;
    double coil_corner_mismatch = 0;  // relative: coil side's corner is corner_hz * (1 + this)
};

// Harmonics of a full-scale sine, dB relative to it (-60 = a thousandth); nullopt = none.
struct Nonlinearity {
    std::optional<double> second_db;
    std::optional<double> third_db;
};

struct Interface {
    double sample_rate_hz = 192000;  // the highest it offers, and the one used when nothing else is asked
    int bits = 24;                   // of PCM, 8 .. 32; 0 = floating point, not rounded
    std::size_t latency_frames = 1024;
    double output_full_scale_v = 1.4;  // peak volts played by a sample of 1.0
    double input_full_scale_v = 2.0;   // peak volts recorded as 1.0
    double generator_noise_dbfs = -100;
    double coil_noise_dbfs = -100;
    double generator_dc = 0;  // full scale = 1
    double coil_dc = 0;
    double clip_level = 1;  // full scale = 1; both inputs
    AntiAlias anti_alias;
    Nonlinearity output_nonlinearity;
    Nonlinearity generator_nonlinearity;
    Nonlinearity coil_nonlinearity;
    double clock_error_ppm = 0;  // true rate = nominal * (1 + this): player and recorder alike
    double clock_drift_ppm = 0;  // recorder fast against the player: the recorded period is longer by this
};

// For a while something else hangs on the bench than should.
struct DeviceChange {
    enum class Kind {
        contact_lost,       // open circuit; on return the coil rings up afresh
        added_capacitance,  // at the head: a hand, a moved object
    };
    Kind kind = Kind::contact_lost;
    double start_s = 0;   // from the first recorded frame
    double length_s = 0;  // 20 ms for a loose contact
    double ramp_s = 0;    // added_capacitance only: how gently it comes and goes
    double added_f = 0;
};

// Digital accidents, in recorded frames. All act on both channels at once unless said otherwise.
struct BlockFault {
    enum class Kind {
        zeros,     // frames replaced by silence
        repeated,  // frames replaced by the block of the same length before them
        lost,      // frames missing: what follows moves up (silence at the end)
        inserted,  // frames of silence pushed in: what follows moves back
    };
    Kind kind = Kind::zeros;
    std::size_t first_frame = 0;
    std::size_t frames = 0;
};

struct Faults {
    std::vector<BlockFault> blocks;
    std::vector<DeviceChange> changes;
    bool swapped_inputs = false;
    bool generator_input_dead = false;  // noise and offset only
    bool coil_input_dead = false;
    // Automatic gain: each channel is driven towards a rms of this level with the given time constant.
    std::optional<double> automatic_gain_dbfs;
    double automatic_gain_s = 0.1;
    // Silence whenever the level (rms over 5 ms) is below this, each channel by itself.
    std::optional<double> gate_dbfs;
    // A delayed copy of its own input added to each channel (monitor loop), level re the direct signal.
    std::optional<double> echo_db;
    double echo_delay_s = 0.02;
    // Everything passes through a converter of this lower rate: nothing above half of it survives.
    std::optional<double> converted_rate_hz;
    // The device vanishes after this much of the recording.
    std::optional<double> device_lost_s;
};

struct Bench {
    std::string name;
    std::variant<LumpedCoil, CoilOnBench> coil;
    double loading_f = 0;                 // known capacitor from the head to the return
    double foot_resistance_ohm = 0;       // lossy floor or return, in series with the foot, at the first resonance ...
    double foot_resistance_exponent = 0;  // ... and growing with (f / first resonance) to this power
    LumpedTank tank;
    PrimaryCircuit primary_circuit = PrimaryCircuit::open;
    // Of the tank with the first branch of a lumped coil. A coil given by its geometry has a primary, whose filaments
    // say it.
    double coupling = 0;
    Wiring wiring;
    Interface interface;
    std::optional<Hum> hum;
    std::vector<Carrier> carriers;
    Faults faults;
    std::uint64_t seed = 1;
};

// The invented bench of the demonstration: the coil and figures of fixtures/demo/bench.json.
Bench default_bench();

}  // namespace coldtune::bench
