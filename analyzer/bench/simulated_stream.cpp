// The simulated bench's stream that stays open.
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <optional>
#include <utility>

#include "analyzer/bench/simulated_port.hpp"

namespace coldtune::bench {
namespace {

using Clock = std::chrono::steady_clock;

// Until a loop counts as settled: longer than any coil rings and any interface delays.
constexpr double kSettled_s = 0.25;

class SimulatedStream final : public audio::HeldStream {
public:
    SimulatedStream(SimulatedPort& port, audio::HoldRequest request) : port_(port), request_(std::move(request)) {}

    [[nodiscard]] double sample_rate_hz() const override { return request_.sample_rate_hz; }

    Result<audio::Recording> play_and_record(std::span<const double> stimulus, std::size_t tail_frames,
                                             std::stop_token stop, const audio::ProgressCallback& progress) override {
        if (stimulus.size() > request_.most_stimulus_frames ||
            stimulus.size() + tail_frames > request_.most_recorded_frames) {
            return usage_error("this sweep is longer than the open stream was made for; open it again for more");
        }
        period_.clear();
        return record(stimulus, tail_frames, std::move(stop), progress);
    }

    Status loop(std::span<const double> period, std::size_t kept_frames) override {
        if (period.empty() || kept_frames == 0 || kept_frames % period.size() != 0) {
            return usage_error("a loop keeps a whole number of its periods");
        }
        if (period.size() > request_.most_stimulus_frames || kept_frames > request_.most_recorded_frames) {
            return usage_error("this loop is longer than the open stream was made for; open it again for more");
        }
        period_.assign(period.begin(), period.end());
        kept_ = kept_frames;
        begun_ = Clock::now();
        asked_ = 0;
        return Done{};
    }

    Result<std::uint64_t> recorded_frames() override {
        if (period_.empty()) return std::uint64_t{0};
        if (port_.pace() <= 0) return ++asked_ * period_.size();
        const double elapsed_s = std::chrono::duration<double>(Clock::now() - begun_).count();
        asked_ = static_cast<std::uint64_t>(elapsed_s * port_.pace() * request_.sample_rate_hz) / period_.size();
        return static_cast<std::uint64_t>(elapsed_s * port_.pace() * request_.sample_rate_hz);
    }

    Result<dsp::TwoChannelCapture> read(std::uint64_t first, std::size_t count) override {
        if (period_.empty() || count > kept_) return bad_input("these frames of the loop are not kept");
        const std::size_t period = period_.size();
        const auto settling =
            static_cast<std::size_t>(std::ceil(kSettled_s * request_.sample_rate_hz / static_cast<double>(period)));
        const std::size_t begin = settling * period + static_cast<std::size_t>(first % period);
        std::vector<double> stimulus(begin + count);
        for (std::size_t i = 0; i < stimulus.size(); ++i) stimulus[i] = period_[i % period];
        auto recording = record(stimulus, 0, {}, {});
        if (!recording) return recording.error();
        const auto cut = [&](std::vector<double>& channel) {
            channel.erase(channel.begin(), channel.begin() + static_cast<std::ptrdiff_t>(begin));
            channel.resize(count);
        };
        cut(recording->capture.generator);
        cut(recording->capture.coil);
        return std::move(recording->capture);
    }

    [[nodiscard]] std::size_t late_buffers() const override { return 0; }

    Status silence() override {
        period_.clear();
        return Done{};
    }

private:
    Result<audio::Recording> record(std::span<const double> stimulus, std::size_t tail_frames, std::stop_token stop,
                                    const audio::ProgressCallback& progress) {
        const bool one_input = request_.generator_input == request_.coil_input;
        audio::SweepRequest sweep;
        sweep.device = request_.device;
        sweep.sample_rate_hz = request_.sample_rate_hz;
        sweep.stimulus.assign(stimulus.begin(), stimulus.end());
        sweep.output_channel = request_.output_channel;
        sweep.generator_input = one_input ? 0 : request_.generator_input;
        sweep.coil_input = one_input ? 1 : request_.coil_input;
        sweep.tail_frames = tail_frames;
        sweep.ramp_s = request_.ramp_s;
        auto recording = port_.play_and_record(sweep, std::move(stop), progress);
        if (recording && one_input) recording->capture.generator = recording->capture.coil;
        return recording;
    }

    SimulatedPort& port_;
    audio::HoldRequest request_;
    std::vector<double> period_;
    std::size_t kept_ = 0;
    std::uint64_t asked_ = 0;
    Clock::time_point begun_;
};

}  // namespace

Result<std::unique_ptr<audio::HeldStream>> SimulatedPort::hold(const audio::HoldRequest& request) {
    if (!bench_) return bench_.error();
    return std::unique_ptr<audio::HeldStream>(std::make_unique<SimulatedStream>(*this, request));
}

}  // namespace coldtune::bench
