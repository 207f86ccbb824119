// What the audio callback does, free of any audio library: copy, ramp, count.
#pragma once

#include <atomic>
#include <cstddef>
#include <vector>

#include "analyzer/audio/shared_stream.hpp"

namespace coldtune::audio {

// Interruptions the audio library told the callback about, for the gap before the buffer it is handed.
struct StreamFlags {
    bool input_overflow = false;
    bool input_underflow = false;
    bool output_overflow = false;
    bool output_underflow = false;
};

// Construct it on an ordinary thread; `process` is for the audio thread: it takes no lock, allocates nothing, opens
// nothing, and touches only the shared block (all pages present) and its own tables.
class StreamCopier {
public:
    // The first `warm_up_frames` of the stream are played silent and not recorded: converters settle, and a server
    // makes its connections. `interrupted` is a stop asked for by a signal.
    StreamCopier(const SharedStream& stream, std::size_t input_channels, std::size_t output_channels,
                 std::size_t warm_up_frames, const std::atomic<bool>& interrupted);

    // Interleaved buffers; `input` may be null (nothing arrived).
    void process(const float* input, float* output, std::size_t frames, const StreamFlags& flags) noexcept;

private:
    // What is being played, read once from the block.
    struct Job {
        std::size_t stimulus_frames = 0;
        std::size_t total_frames = 0;
        bool looped = false;
    };
    void take(std::uint64_t number) noexcept;
    [[nodiscard]] bool sounding() const noexcept {
        return ramp_position_ > 0 && (job_.looped || position_ < job_.total_frames);
    }

    const SharedStream& stream_;
    const std::atomic<bool>& interrupted_;
    std::size_t input_channels_;
    std::size_t output_channels_;
    std::size_t warm_up_left_;
    std::vector<float> ramp_;        // raised cosine from 0 to exactly 1
    std::size_t ramp_position_ = 0;  // rises while playing, falls once stopping
    Job job_;
    std::uint64_t number_ = 0;  // of the job; a held stream begins with none
    std::size_t position_ = 0;  // frames recorded of it
};

}  // namespace coldtune::audio
