// What goes wrong between a coil and its recording, one entry each, for the tests that a fault never passes for a
// measurement.
#pragma once

#include <functional>
#include <optional>
#include <random>
#include <span>
#include <string>
#include <string_view>

#include "tests/support/bench_rig.hpp"

namespace coldtune::test {

// Random numbers that are the same on every machine.
struct FaultDraw {
    std::mt19937_64 engine;
    double uniform(double low, double high) {
        return low + (high - low) * (static_cast<double>(engine() >> 11) * 0x1.0p-53);
    }
    double log_uniform(double low, double high);
    bool chance(double probability) { return uniform(0, 1) < probability; }
    std::size_t below(std::size_t count) { return engine() % count; }
};

// One measurement before anything is recorded: the bench for the coil's capture, the one for the standards' (a fault of
// the set-up is in both, an accident in the first alone), the sweep, what the user declares.
struct FaultScene {
    bench::Bench bench;
    bench::Bench standards;
    bench::Hookup wired = bench::Hookup::foot;  // what really hangs there while "foot" is asked for
    SweepShape shape;
    double resonance_hz = 0;  // as the coil stands with nothing wrong
    std::optional<model::CoilDescription> description;
    bool use_open = false, use_short = false, use_load = false;
    // Done to the recorded samples (all captures, or the coil's only).
    std::function<void(dsp::TwoChannelCapture&)> every_capture = {}, coil_capture = {};
    std::string detail;  // for the report

    template <typename Change>
    void both(Change change) {
        change(bench);
        change(standards);
    }
    [[nodiscard]] double settled_s() const;  // where the steady periods of a capture begin and end, from frame 0
    [[nodiscard]] double end_s() const;
};

struct CaptureFault {
    const char* name;
    // Strength 0 (hardly there) to 1 (gross).
    void (*apply)(FaultScene& scene, double strength, FaultDraw& draw);
    // One capture cannot show it: only against the calculated value, so the coil must be described.
    bool needs_description = false;
};

std::span<const CaptureFault> capture_faults();
const CaptureFault& capture_fault(std::string_view name);

// A scene with nothing wrong: lumped circuits and coils of the trade's proportions (invented), the latter described
// within the tolerances the program assumes, in-band or above the band; interfaces, leads and standards as people have
// them, all within what is declared.
enum class CoilKind { lumped, described, below_band };
FaultScene draw_scene(CoilKind kind, FaultDraw& draw);

// The zero of the reactance at the foot of a bench's coil, from its own circuit; nullopt when its first resonance lies
// outside these limits.
std::optional<double> true_resonance_hz(const bench::Bench& bench, double from_hz, double to_hz);

// Records coil and standards of a scene: what `analyze` would be given.
measure::AnalysisRequest record_scene(const FaultScene& scene);

}  // namespace coldtune::test
