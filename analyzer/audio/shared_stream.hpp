// The memory that the program and its audio child share: the request, the stimulus, what was recorded, and counters.
//
// One anonymous memory file holds a fixed header (StreamBlock) followed by three float arrays. The program fills in the
// request and the stimulus before the child starts; afterwards only the atomics, the recorded samples and, once
// `state` says so, the texts change hands. Nothing in here is locked, so the audio callback may touch all of it.
//
// A stream plays one job and ends, or is held open for one job after another: the program then writes stimulus and job
// while none is being played, and raises `job`; the callback answers in `job_taken`.
#pragma once

#include <atomic>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::audio {

// How far the child has come. Written by the child only; texts are complete once a final state is visible.
enum class ChildState : std::uint32_t {
    spawned,   // not yet heard of
    opening,   // the audio library is looking for devices or opening one
    starting,  // the stream is being started
    running,   // callbacks are expected
    done,      // final: everything is recorded, or the listing is complete
    stopped,   // final: the stop was asked for, the output has been ramped down
    failed,    // final: `message` says why
};

struct StreamBlock {
    static constexpr std::uint32_t magic_value = 0x636f6c64;
    static constexpr std::size_t text_bytes = 4096;
    static constexpr std::size_t listing_bytes = 65536;

    std::uint32_t magic = magic_value;
    // The request: constant once the child runs.
    double sample_rate_hz = 0;
    std::uint64_t stimulus_frames = 0;
    std::uint64_t total_frames = 0;  // recorded: stimulus and tail
    std::uint64_t ramp_frames = 1;   // >= 1
    std::uint32_t output_channel = 0;
    std::uint32_t generator_input = 0;
    std::uint32_t coil_input = 0;
    std::uint32_t held = 0;  // 1: stays open, silent, between jobs
    // The job: how much of the two arrays it uses. Constant from the moment `job` is raised until it is over.
    std::uint64_t job_stimulus_frames = 0;
    std::uint64_t job_total_frames = 0;
    std::uint32_t job_looped = 0;  // 1: the stimulus again and again, recorded round and round, until the next job
    char device[text_bytes] = {};

    // From the program to the child.
    std::atomic<std::uint32_t> stop = 0;
    std::atomic<std::uint64_t> job = 0;  // number of the newest

    // From the child. `frames` of the job taken are recorded; released after the samples below it were written.
    std::atomic<ChildState> state = ChildState::spawned;
    std::atomic<std::uint64_t> job_taken = 0;
    std::atomic<std::uint64_t> frames = 0;
    std::atomic<std::uint64_t> callbacks = 0;
    std::atomic<std::uint64_t> silent_callbacks = 0;  // whole callbacks of silence after a stop
    std::atomic<std::uint64_t> input_overflows = 0;
    std::atomic<std::uint64_t> input_underflows = 0;
    std::atomic<std::uint64_t> output_overflows = 0;
    std::atomic<std::uint64_t> output_underflows = 0;
    double actual_rate_hz = 0;  // valid from `starting` on
    char message[text_bytes] = {};
    char listing[listing_bytes] = {};
};
// A lock inside an atomic would be private to one process.
static_assert(std::atomic<std::uint64_t>::is_always_lock_free && std::atomic<ChildState>::is_always_lock_free);

// Copies a text into a fixed field, cut to fit, always terminated.
void put_text(std::span<char> field, std::string_view text);

class SharedStream {
public:
    // Longest recording: ten minutes at 384 kHz, 2.8 GB of shared memory.
    static constexpr std::uint64_t longest_frames = 600ULL * 384000ULL;

    // A new block for this many frames, all pages reserved. Errors: usage (longer than `longest_frames`, stimulus
    // longer than the whole), device (not enough memory free).
    static Result<SharedStream> create(std::uint64_t stimulus_frames, std::uint64_t total_frames);
    // The child's side of the block behind an inherited descriptor, every page made present beforehand.
    static Result<SharedStream> attach(int descriptor);

    SharedStream(SharedStream&& other) noexcept;
    SharedStream& operator=(SharedStream&& other) noexcept;
    ~SharedStream();

    [[nodiscard]] int descriptor() const noexcept { return descriptor_; }
    [[nodiscard]] StreamBlock& block() const noexcept { return *block_; }
    [[nodiscard]] std::span<float> stimulus() const noexcept;   // stimulus_frames
    [[nodiscard]] std::span<float> generator() const noexcept;  // total_frames
    [[nodiscard]] std::span<float> coil() const noexcept;       // total_frames

private:
    SharedStream(int descriptor, StreamBlock* block, std::size_t bytes) noexcept;
    [[nodiscard]] float* samples() const noexcept;

    int descriptor_ = -1;
    StreamBlock* block_ = nullptr;
    std::size_t bytes_ = 0;
};

}  // namespace coldtune::audio
