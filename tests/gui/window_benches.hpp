// What stands behind the window in its tests: the demonstration bench, benches with a fault, an interface that is gone.
#pragma once

#include <cmath>
#include <functional>
#include <memory>

#include "analyzer/bench/bench.hpp"
#include "analyzer/bench/simulated_port.hpp"
#include "gui/workers.hpp"

namespace coldtune::gui {

// The demonstration coil's resonance as the simulated bench plays it: every capacitance 1.02 and every inductance 0.995
// times the model's moves every resonance by exactly 1/sqrt(1.02 x 0.995); its clock is 12 ppm fast, so what is
// recorded reads 12 ppm low.
inline double true_resonance(const State& s) {
    return s.calculation.value->frequency_hz / std::sqrt(1.02 * 0.995) / (1 + 12e-6);
}

// A bench with a fault, behind the same door.
inline PortFactory faulty(std::function<void(bench::Bench&)> spoil) {
    return [spoil = std::move(spoil)](const PortRequest& request) -> std::unique_ptr<audio::AudioPort> {
        bench::Bench bench = bench::default_bench();
        spoil(bench);
        return bench::make_simulated_port(bench, request.hookup, 0);
    };
}

// An interface that is listed, and gone when it is used.
class LostPort final : public audio::AudioPort {
public:
    Result<std::vector<audio::DeviceInfo>> devices() override {
        return std::vector<audio::DeviceInfo>{{"Field box", "ALSA", 4, 2, 48000, {48000, 96000}}};
    }
    Result<audio::Recording> play_and_record(const audio::SweepRequest&, std::stop_token,
                                             const audio::ProgressCallback&) override {
        return device_error("the interface 'Field box' is gone; plug it in again");
    }
    Result<std::unique_ptr<audio::HeldStream>> hold(const audio::HoldRequest&) override {
        return device_error("the interface 'Field box' is gone; plug it in again");
    }
};
inline PortFactory lost() {
    return [](const PortRequest&) { return std::make_unique<LostPort>(); };
}

}  // namespace coldtune::gui
