// The simulated bench behind the door of a real interface. Its one device is called "simulated".
#pragma once

#include <cstdint>
#include <memory>
#include <mutex>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/bench_signal.hpp"

namespace coldtune::bench {

class SimulatedPort final : public audio::AudioPort {
public:
    // `pace`: how fast recording goes against real time; 0 = as fast as it computes, 1 = as long as a real one takes.
    // A bench that cannot be simulated makes every sweep fail with its sentence (bad_input).
    SimulatedPort(Bench bench, Hookup hookup, double pace = 0);

    // What hangs on the bench from the next sweep on: the hand that moves the clip between sweeps. From any thread.
    void connect(Hookup hookup);

    Result<std::vector<audio::DeviceInfo>> devices() override;
    // output_channel must be 0; generator_input and coil_input are 0 and 1 in either order (1 and 0 swap the wires).
    Result<audio::Recording> play_and_record(const audio::SweepRequest& request, std::stop_token stop,
                                             const audio::ProgressCallback& progress) override;
    // The port must outlive the stream. Equal inputs: an interface with one input, wired to the coil side. A loop
    // records in real time (times the pace); with pace 0 one more period each time it is asked how far it has come.
    Result<std::unique_ptr<audio::HeldStream>> hold(const audio::HoldRequest& request) override;

    [[nodiscard]] double pace() const { return pace_; }

private:
    Result<SimulatedBench> bench_;
    double pace_ = 0;
    std::mutex mutex_;  // guards the two below
    Hookup hookup_;
    std::uint64_t sweeps_ = 0;  // each has noise of its own
};

std::unique_ptr<SimulatedPort> make_simulated_port(Bench bench, Hookup hookup = Hookup::foot, double pace = 0);

}  // namespace coldtune::bench
