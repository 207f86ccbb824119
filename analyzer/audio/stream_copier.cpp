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
}

void StreamCopier::process(const float* input, float* output, std::size_t frames, const StreamFlags& flags) noexcept {
    StreamBlock& block = stream_.block();
    const bool stopping =
        block.stop.load(std::memory_order_relaxed) != 0 || interrupted_.load(std::memory_order_relaxed);
    const std::size_t total = block.total_frames;
    std::fill_n(output, frames * output_channels_, 0.0F);
    add(block.callbacks, 1);
    if (stopping && ramp_position_ == 0) {
        add(block.silent_callbacks, 1);
        return;
    }
    // A gap before the first recorded frame or after the last harms nothing.
    if (position_ > 0 && position_ < total && !stopping) {
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
    const std::size_t last = std::min(frames, skipped + (total - position_));
    for (std::size_t i = skipped; i < last; ++i) {
        generator[position_] = input == nullptr ? 0.0F : input[i * input_channels_ + block.generator_input];
        coil[position_] = input == nullptr ? 0.0F : input[i * input_channels_ + block.coil_input];
        if (position_ < stimulus.size()) {
            output[i * output_channels_ + block.output_channel] = ramp_[ramp_position_] * stimulus[position_];
        }
        ++position_;
        if (stopping) {
            if (ramp_position_ > 0) --ramp_position_;
        } else if (ramp_position_ + 1 < ramp_.size()) {
            ++ramp_position_;
        }
    }
    if (stopping && position_ == total) ramp_position_ = 0;
    block.frames.store(position_, std::memory_order_release);
}

}  // namespace coldtune::audio
