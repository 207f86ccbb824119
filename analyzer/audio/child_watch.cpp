#include "analyzer/audio/child_watch.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

namespace coldtune::audio {
namespace {

using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;

// Looking for devices can take seconds where there are many; nothing can be said about progress meanwhile.
constexpr milliseconds opening_limit(6000);
constexpr milliseconds starting_limit(3000);  // first buffer of a stream
constexpr milliseconds stall_limit(1000);     // between buffers: the contract's second
constexpr milliseconds stopping_limit(1000);  // to ramp down
constexpr milliseconds poll_interval(4);

}  // namespace

bool is_final(ChildState state) {
    return state == ChildState::done || state == ChildState::stopped || state == ChildState::failed;
}

std::string_view text_of(std::span<const char> field) {
    return {field.data(), static_cast<std::size_t>(std::ranges::find(field, '\0') - field.begin())};
}

float peak_of(std::span<const float> samples) {
    float peak = 0;
    for (const float x : samples) peak = std::max(peak, std::abs(x));
    return peak;
}

ChildWatch::ChildWatch(const StreamBlock& block, ChildProcess& child, std::string what)
    : block_(&block), child_(&child), what_(std::move(what)), last_step_(Clock::now()), last_progress_(last_step_) {}

std::optional<Error> ChildWatch::step() {
    // A held stream is looked at now and then only.
    if (Clock::now() - last_step_ > stall_limit / 2) last_progress_ = Clock::now();
    const bool ended = child_->ended_within(poll_interval);
    last_step_ = Clock::now();
    const ChildState state = this->state();
    if (state == ChildState::failed) return device_error(std::string(text_of(block_->message)));
    if (is_final(state)) return std::nullopt;
    if (ended) {
        return device_error(
            fmt::format("the audio process {} before '{}' was finished: try again, and restart the "
                        "audio server if it happens again",
                        child_->epitaph(), what_));
    }
    return check_progress(state);
}

std::optional<Error> ChildWatch::check_progress(ChildState state) {
    const auto now = Clock::now();
    const std::uint64_t callbacks = block_->callbacks.load(std::memory_order_relaxed);
    if (state != last_state_ || callbacks != last_callbacks_) {
        last_state_ = state;
        last_callbacks_ = callbacks;
        last_progress_ = now;
        return std::nullopt;
    }
    const auto waited = now - last_progress_;
    if (state == ChildState::spawned || state == ChildState::opening) {
        if (waited < opening_limit) return std::nullopt;
        return device_error(
            fmt::format("the audio system did not answer within {} s: restart the audio server or "
                        "reconnect the interface",
                        opening_limit.count() / 1000));
    }
    if (waited < (callbacks == 0 ? starting_limit : stall_limit)) return std::nullopt;
    return device_error(fmt::format(
        "'{}' stopped delivering audio at {:.1f} s: it hangs or its audio server does; "
        "reconnect the interface or restart the server and repeat",
        what_, static_cast<double>(block_->frames.load(std::memory_order_relaxed)) / block_->sample_rate_hz));
}

StreamCounters read_counters(const StreamBlock& block) {
    StreamCounters counters;
    counters.frames = block.frames.load(std::memory_order_acquire);
    counters.callbacks = block.callbacks.load(std::memory_order_relaxed);
    counters.input_overflows = block.input_overflows.load(std::memory_order_relaxed);
    counters.input_underflows = block.input_underflows.load(std::memory_order_relaxed);
    counters.output_underflows = block.output_underflows.load(std::memory_order_relaxed);
    counters.output_overflows = block.output_overflows.load(std::memory_order_relaxed);
    return counters;
}

std::size_t late_buffers(const StreamCounters& counters) {
    return counters.input_overflows + counters.input_underflows + counters.output_underflows +
           counters.output_overflows;
}

std::optional<Error> judge_counters(const StreamCounters& counters, const std::string& device, double sample_rate_hz,
                                    std::size_t allowed) {
    if (late_buffers(counters) <= allowed) return std::nullopt;
    return device_error(
        fmt::format("'{}' lost audio at about {:.1f} s because buffers came late: close other programs or "
                    "give the interface larger buffers, and repeat",
                    device, static_cast<double>(counters.frames) / sample_rate_hz));
}

void ramp_down(StreamBlock& block, ChildProcess& child) {
    block.stop.store(1, std::memory_order_relaxed);
    const auto end = Clock::now() + stopping_limit;
    auto last_progress = Clock::now();
    std::uint64_t callbacks = block.callbacks.load(std::memory_order_relaxed);
    constexpr milliseconds patience(200);  // longer than any usual buffer
    while (Clock::now() < end && Clock::now() - last_progress < patience) {
        if (child.ended_within(poll_interval)) return;
        const ChildState state = block.state.load(std::memory_order_acquire);
        if (is_final(state)) {
            child.ended_within(ending_limit);
            return;
        }
        const std::uint64_t now = block.callbacks.load(std::memory_order_relaxed);
        // One that is still opening notices the stop in its first buffer, and then leaves in order.
        if (now != callbacks || state != ChildState::running) last_progress = Clock::now();
        callbacks = now;
    }
}

std::optional<Error> check_stimulus(std::span<const double> stimulus) {
    if (stimulus.empty()) return usage_error("there is no stimulus to play");
    for (const double x : stimulus) {
        if (!(std::abs(x) <= 1)) return usage_error("the stimulus exceeds full scale: lower its level");
    }
    return std::nullopt;
}

std::optional<Error> check_address(const StreamAddress& address) {
    if (!(address.sample_rate_hz >= 1000 && address.sample_rate_hz <= 1e6)) {
        return usage_error(fmt::format("a sample rate of {} Hz cannot be used: choose one between 1 kHz and 1 MHz",
                                       address.sample_rate_hz));
    }
    if (!(address.ramp_s >= 0 && address.ramp_s <= 10)) {
        return usage_error(fmt::format("a level ramp of {} s cannot be used: choose 0 to 10 s", address.ramp_s));
    }
    constexpr std::size_t most_channels = 1024;
    if (std::max({address.output_channel, address.generator_input, address.coil_input}) >= most_channels) {
        return usage_error(fmt::format("channel numbers go up to {}", most_channels));
    }
    if (address.device.size() >= StreamBlock::text_bytes) return usage_error("the device's name is too long");
    return std::nullopt;
}

void put_address(StreamBlock& block, const StreamAddress& address) {
    block.sample_rate_hz = address.sample_rate_hz;
    block.ramp_frames =
        std::max<std::uint64_t>(1, static_cast<std::uint64_t>(std::llround(address.ramp_s * address.sample_rate_hz)));
    block.output_channel = static_cast<std::uint32_t>(address.output_channel);
    block.generator_input = static_cast<std::uint32_t>(address.generator_input);
    block.coil_input = static_cast<std::uint32_t>(address.coil_input);
    put_text(block.device, address.device);
}

}  // namespace coldtune::audio
