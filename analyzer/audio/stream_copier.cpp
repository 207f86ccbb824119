#include "analyzer/audio/stream_copier.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace coldtune::audio {
namespace {

// One writer only, so a plain load and store do; no locked instruction on the audio thread.
void add(std::atomic<std::uint64_t>& counter, std::uint64_t amount) {
    counter.store(counter.load(std::memory_order_relaxed) + amount, std::memory_order_relaxed);
}

}  // namespace

StreamCopier::StreamCopier(const SharedStream& stream, std::size_t input_channels, std::size_t output_channels,
                           std::size_t warm_up_frames, const std::atomic<bool>& interrupted)
    : stream_(stream),
      interrupted_(interrupted),
      input_channels_(input_channels),
      output_channels_(output_channels),
      warm_up_left_(warm_up_frames),
      ramp_(stream.block().ramp_frames + 1) {
    const double step = std::numbers::pi / static_cast<double>(ramp_.size() - 1);
    for (std::size_t i = 0; i < ramp_.size(); ++i) {
        ramp_[i] = static_cast<float>(0.5 - 0.5 * std::cos(step * static_cast<double>(i)));
    }
    ramp_.back() = 1.0F;  // exactly: a stimulus at full level passes unchanged
    const StreamBlock& block = stream.block();
    if (block.held == 0) job_ = {block.job_stimulus_frames, block.job_total_frames, false};
}

void StreamCopier::take(std::uint64_t number) noexcept {
    StreamBlock& block = stream_.block();
    number_ = number;
    // Whatever the block says, nothing outside its arrays is touched.
    job_.total_frames = std::min<std::size_t>(block.job_total_frames, block.total_frames);
    job_.stimulus_frames = std::min<std::size_t>(block.job_stimulus_frames, block.stimulus_frames);
    job_.looped = block.job_looped != 0 && job_.total_frames > 0;
    position_ = 0;
    ramp_position_ = 0;
    block.frames.store(0, std::memory_order_relaxed);
    block.job_taken.store(number, std::memory_order_release);
}

void StreamCopier::process(const float* input, float* output, std::size_t frames, const StreamFlags& flags) noexcept {
    StreamBlock& block = stream_.block();
    const bool stopping =
        block.stop.load(std::memory_order_relaxed) != 0 || interrupted_.load(std::memory_order_relaxed);
    const std::uint64_t newest = block.job.load(std::memory_order_acquire);
    if (newest != number_ && !stopping && !sounding()) take(newest);
    const bool falling = stopping || newest != number_;
    std::fill_n(output, frames * output_channels_, 0.0F);
    add(block.callbacks, 1);
    if (stopping && ramp_position_ == 0) {
        add(block.silent_callbacks, 1);
        return;
    }
    // A gap before the first recorded frame or after the last harms nothing, but for a held stream, whose delay from
    // output to input it may change for good.
    const bool recording = position_ > 0 && (job_.looped || position_ < job_.total_frames);
    if ((recording || (block.held != 0 && number_ > 0)) && !stopping) {
        add(block.input_overflows, flags.input_overflow ? 1 : 0);
        add(block.input_underflows, flags.input_underflow || input == nullptr ? 1 : 0);
        add(block.output_overflows, flags.output_overflow ? 1 : 0);
        add(block.output_underflows, flags.output_underflow ? 1 : 0);
    }
    const std::size_t skipped = std::min(warm_up_left_, frames);
    warm_up_left_ -= skipped;
    const auto stimulus = stream_.stimulus();
    const auto generator = stream_.generator();
    const auto coil = stream_.coil();
    const std::size_t last = job_.looped ? frames : std::min(frames, skipped + (job_.total_frames - position_));
    for (std::size_t i = skipped; i < last; ++i) {
        const std::size_t place = job_.looped ? position_ % job_.total_frames : position_;
        generator[place] = input == nullptr ? 0.0F : input[i * input_channels_ + block.generator_input];
        coil[place] = input == nullptr ? 0.0F : input[i * input_channels_ + block.coil_input];
        const std::size_t played =
            job_.looped && job_.stimulus_frames > 0 ? position_ % job_.stimulus_frames : position_;
        if (played < job_.stimulus_frames) {
            output[i * output_channels_ + block.output_channel] = ramp_[ramp_position_] * stimulus[played];
        }
        ++position_;
        if (falling) {
            if (ramp_position_ > 0) --ramp_position_;
        } else if (ramp_position_ + 1 < ramp_.size()) {
            ++ramp_position_;
        }
    }
    if (stopping && !job_.looped && position_ == job_.total_frames) ramp_position_ = 0;
    block.frames.store(position_, std::memory_order_release);
}

}  // namespace coldtune::audio
