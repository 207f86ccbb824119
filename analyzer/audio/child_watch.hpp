// The program's watch over its audio child: does it get on, what has it counted, how is it asked to fall silent.
#pragma once

#include <chrono>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/audio/child_process.hpp"
#include "analyzer/audio/shared_stream.hpp"

namespace coldtune::audio {

// How often whoever waits for a sweep is told how far it is.
inline constexpr std::chrono::milliseconds progress_interval(50);

// To give the device back; longer than the child's own alarm.
inline constexpr std::chrono::milliseconds ending_limit(2500);

bool is_final(ChildState state);
std::string_view text_of(std::span<const char> field);
float peak_of(std::span<const float> samples);

// Follows one child from start to end.
class ChildWatch {
public:
    // Both must outlive the watch. `what` stands in messages: the device, or what is being asked for.
    ChildWatch(const StreamBlock& block, ChildProcess& child, std::string what);

    // Waits a moment. Empty while all is well; an error if the child failed, died or does not get on. Time in which
    // nobody called does not count as lack of progress.
    std::optional<Error> step();
    [[nodiscard]] ChildState state() const { return block_->state.load(std::memory_order_acquire); }

private:
    std::optional<Error> check_progress(ChildState state);

    const StreamBlock* block_;
    ChildProcess* child_;
    std::string what_;
    ChildState last_state_ = ChildState::spawned;
    std::uint64_t last_callbacks_ = 0;
    std::chrono::steady_clock::time_point last_step_, last_progress_;
};

StreamCounters read_counters(const StreamBlock& block);
// Buffers that came late, on either side.
std::size_t late_buffers(const StreamCounters& counters);
// Empty while no more of them came late than `allowed`.
std::optional<Error> judge_counters(const StreamCounters& counters, const std::string& device, double sample_rate_hz,
                                    std::size_t allowed = 0);

// Asks a child that may still be playing for silence, and waits for it while it gets on. The child is ended by its
// owner afterwards in any case.
void ramp_down(StreamBlock& block, ChildProcess& child);

// What the child is asked for before it starts, common to every kind of stream.
struct StreamAddress {
    const std::string& device;
    double sample_rate_hz = 0;
    std::size_t output_channel = 0, generator_input = 0, coil_input = 0;
    double ramp_s = 0;
};
// Errors: usage.
std::optional<Error> check_address(const StreamAddress& address);
std::optional<Error> check_stimulus(std::span<const double> stimulus);
void put_address(StreamBlock& block, const StreamAddress& address);

}  // namespace coldtune::audio
