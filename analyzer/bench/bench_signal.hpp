// From a stimulus to what the simulated interface records.
//
// The played samples are taken as the band-limited signal they stand for; circuit, input gains and anti-alias filters
// act on it as exact transfer functions at every bin of one transform of the whole recording, padded so that the coil's
// ring-down does not come round to the start. Then what an interface adds: hum, noise, offset, distortion, limits,
// rounding, and the accidents of Faults. Deterministic by (bench.seed, hookup, sweep index).
#pragma once

#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>

#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/bench_circuit.hpp"
#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::bench {

struct SimulationRequest {
    Hookup hookup = Hookup::foot;
    std::span<const double> stimulus;  // full scale = 1
    double sample_rate_hz = 0;         // nominal; at most the interface's own
    std::size_t tail_frames = 0;       // recorded after the stimulus
    std::uint64_t sweep_index = 0;     // other noise for every sweep of a session
};

class SimulatedBench {
public:
    // Errors (bad_input): check_bench's.
    static Result<SimulatedBench> build(Bench bench);

    // stimulus + tail frames. Errors: bad_input for an empty or too long stimulus (2^26 frames), samples that are not
    // finite or a coil that cannot be built; device for a rate the interface does not offer or a device that vanishes.
    Result<dsp::TwoChannelCapture> record(const SimulationRequest& request) const;

    // The truth. Errors: a coil that cannot be built (found when first needed).
    Result<BenchCircuit> circuit(Hookup hookup) const;

    [[nodiscard]] const Bench& bench() const noexcept { return *bench_; }

private:
    struct CoilOnce;
    SimulatedBench() = default;
    std::shared_ptr<const Bench> bench_;
    std::shared_ptr<CoilOnce> coil_;
};

}  // namespace coldtune::bench
