#include "analyzer/bench/simulated_port.hpp"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <span>
#include <thread>
#include <utility>

#include <fmt/format.h>

namespace coldtune::bench {
namespace {

constexpr const char* kDeviceName = "simulated";
constexpr double kUsualRates[] = {44100, 48000, 88200, 96000, 176400, 192000, 352800, 384000};
constexpr std::size_t kBlocks = 50;  // of a recording, between which stopping and progress are served

double peak(const std::vector<double>& samples, std::size_t first, std::size_t last) {
    double highest = 0;
    for (std::size_t i = first; i < last; ++i) highest = std::max(highest, std::abs(samples[i]));
    return highest;
}

}  // namespace

SimulatedPort::SimulatedPort(Bench bench, Hookup hookup, double pace)
    : bench_(SimulatedBench::build(std::move(bench))), pace_(pace), hookup_(hookup) {}

void SimulatedPort::connect(Hookup hookup) {
    const std::lock_guard lock(mutex_);
    hookup_ = hookup;
}

Result<std::vector<audio::DeviceInfo>> SimulatedPort::devices() {
    if (!bench_) return bench_.error();
    audio::DeviceInfo info;
    info.name = kDeviceName;
    info.host = "simulation";
    info.input_channels = 2;
    info.output_channels = 1;
    info.default_rate_hz = bench_->bench().interface.sample_rate_hz;
    for (const double rate : kUsualRates) {
        if (rate <= info.default_rate_hz) info.rates_hz.push_back(rate);
    }
    if (std::find(info.rates_hz.begin(), info.rates_hz.end(), info.default_rate_hz) == info.rates_hz.end()) {
        info.rates_hz.push_back(info.default_rate_hz);
    }
    return std::vector<audio::DeviceInfo>{info};
}

Result<audio::Recording> SimulatedPort::play_and_record(const audio::SweepRequest& request, std::stop_token stop,
                                                 const audio::ProgressCallback& progress) {
    if (!bench_) return bench_.error();
    if (!request.device.empty() && request.device != kDeviceName) {
        return device_error(fmt::format("There is no device \"{}\" here; the simulated bench has only \"{}\".",
                                        request.device, kDeviceName));
    }
    if (request.output_channel != 0 || request.generator_input > 1 || request.coil_input > 1 ||
        request.generator_input == request.coil_input) {
        return device_error("The simulated interface has output 0 and inputs 0 and 1; the two inputs must differ.");
    }
    if (std::any_of(request.stimulus.begin(), request.stimulus.end(), [](double x) { return !(std::abs(x) <= 1); })) {
        return bad_input("The stimulus goes beyond full scale; lower its level.");
    }
    if (stop.stop_requested()) return rejected("stopped");

    SimulationRequest simulation;
    {
        const std::lock_guard lock(mutex_);
        simulation.hookup = hookup_;
        simulation.sweep_index = sweeps_++;
    }
    std::vector<double> played = request.stimulus;
    const auto ramp = std::min(
        played.size(), static_cast<std::size_t>(std::max(0.0, std::round(request.ramp_s * request.sample_rate_hz))));
    for (std::size_t i = 0; i < ramp; ++i) played[i] *= static_cast<double>(i) / static_cast<double>(ramp);
    simulation.stimulus = played;
    simulation.sample_rate_hz = request.sample_rate_hz;
    simulation.tail_frames = request.tail_frames;
    Result<dsp::TwoChannelCapture> capture = bench_->record(simulation);
    if (!capture) return capture.error();
    if (request.generator_input == 1) std::swap(capture->generator, capture->coil);

    audio::Recording recording;
    recording.device = kDeviceName;
    const std::size_t frames = capture->frames();
    const auto& lost = bench_->bench().faults.device_lost_s;
    const auto begun = std::chrono::steady_clock::now();
    for (std::size_t block = 0; block < kBlocks; ++block) {
        const std::size_t first = frames * block / kBlocks;
        const std::size_t last = frames * (block + 1) / kBlocks;
        const double end_s = static_cast<double>(last) / request.sample_rate_hz;
        if (pace_ > 0) {
            std::this_thread::sleep_until(begun + std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                                                      std::chrono::duration<double>(end_s / pace_)));
        }
        if (stop.stop_requested()) return rejected("stopped");
        if (lost && end_s > *lost) {
            return device_error("The simulated interface vanished during the sweep; reconnect it and sweep again.");
        }
        if (progress) {
            progress({static_cast<double>(last) / static_cast<double>(frames), peak(capture->generator, first, last),
                      peak(capture->coil, first, last)});
        }
    }
    recording.counters.frames = frames;
    recording.counters.callbacks = kBlocks;
    recording.capture = std::move(*capture);
    return recording;
}

std::unique_ptr<SimulatedPort> make_simulated_port(Bench bench, Hookup hookup, double pace) {
    return std::make_unique<SimulatedPort>(std::move(bench), hookup, pace);
}

}  // namespace coldtune::bench
