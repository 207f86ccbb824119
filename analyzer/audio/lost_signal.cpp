#include "analyzer/audio/lost_signal.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <vector>

namespace coldtune::audio {
namespace {

constexpr double margin_s = 0.003;
constexpr double longest_latency_s = 1.0;  // of an interface with generous buffers
constexpr float sounding = 1e-3F;          // of the stimulus' peak; less is a pause
constexpr double block_s = 0.010;
constexpr std::size_t faded_blocks = 5;
constexpr double faded_gain = 0.003;
constexpr double strong_block = 0.1;

std::vector<double> block_rms(std::span<const float> samples, std::size_t block_frames) {
    std::vector<double> rms(samples.size() / block_frames);
    for (std::size_t b = 0; b < rms.size(); ++b) {
        double sum = 0;
        for (const float sample : samples.subspan(b * block_frames, block_frames)) {
            const auto x = static_cast<double>(sample);
            sum += x * x;
        }
        rms[b] = std::sqrt(sum / static_cast<double>(block_frames));
    }
    return rms;
}

}  // namespace

SilenceWatch::SilenceWatch(std::span<const float> stimulus, double sample_rate_hz) : sample_rate_hz_(sample_rate_hz) {
    float peak = 0;
    for (const float x : stimulus) peak = std::max(peak, std::abs(x));
    std::size_t longest_pause = 0;
    bool begun = false;
    for (std::size_t i = 0; i < stimulus.size(); ++i) {
        if (std::abs(stimulus[i]) <= sounding * peak) continue;
        if (!begun) stimulus_begin_ = i;
        if (begun) longest_pause = std::max(longest_pause, i - stimulus_end_);
        begun = true;
        stimulus_end_ = i + 1;
    }
    longest_run_ = longest_pause + static_cast<std::size_t>(margin_s * sample_rate_hz);
}

std::optional<LostSignal> SilenceWatch::look(std::span<const float> generator, bool finished) {
    if (stimulus_begin_ == stimulus_end_) return std::nullopt;  // a silent stimulus has nothing to lose
    for (; seen_ < generator.size(); ++seen_) {
        const float x = generator[seen_];
        peak_ = std::max(peak_, std::abs(x));
        if (seen_ == 0) continue;
        if (x != generator[seen_ - 1]) {
            run_begin_ = seen_;
            if (!signal_begin_) signal_begin_ = seen_;
            continue;
        }
        // What arrives cannot be earlier than what was played, so this many frames at least carry the stimulus.
        if (!signal_begin_ || seen_ >= *signal_begin_ + (stimulus_end_ - stimulus_begin_)) continue;
        if (seen_ - run_begin_ >= longest_run_ && std::abs(x) <= 0.5F * peak_) {
            return LostSignal{LostSignal::How::stuck, static_cast<double>(run_begin_) / sample_rate_hz_};
        }
    }
    const auto patience = static_cast<std::size_t>(longest_latency_s * sample_rate_hz_);
    if (!signal_begin_ && (finished || seen_ > stimulus_begin_ + longest_run_ + patience)) {
        return LostSignal{LostSignal::How::never_came, 0};
    }
    return std::nullopt;
}

std::optional<LostSignal> find_faded_signal(std::span<const float> stimulus, std::span<const float> generator,
                                            double sample_rate_hz) {
    const auto block_frames = std::max<std::size_t>(1, static_cast<std::size_t>(block_s * sample_rate_hz));
    const auto played = block_rms(stimulus, block_frames);
    const auto recorded = block_rms(generator, block_frames);
    if (played.empty() || recorded.empty()) return std::nullopt;
    const double strongest = *std::max_element(played.begin(), played.end());
    const double loudest = *std::max_element(recorded.begin(), recorded.end());
    if (strongest <= 0 || loudest <= 0) return std::nullopt;
    const auto onset = [](const std::vector<double>& rms, double least) {
        return std::find_if(rms.begin(), rms.end(), [&](double x) { return x > least; }) - rms.begin();
    };
    const auto played_onset = static_cast<std::size_t>(onset(played, strong_block * strongest));
    const auto recorded_onset = static_cast<std::size_t>(onset(recorded, strong_block * loudest));
    if (recorded_onset < played_onset) return std::nullopt;  // something else was heard before: no delay to go by
    const std::size_t delay = recorded_onset - played_onset;

    // Blocks whose whole surroundings sound, so that a delay off by a block does not matter.
    std::vector<std::size_t> judged;
    std::vector<double> gains;
    for (std::size_t b = 2; b + 2 < played.size() && b + delay < recorded.size(); ++b) {
        const double least = *std::min_element(&played[b - 2], &played[b + 2] + 1);
        if (least < strong_block * strongest) continue;
        judged.push_back(b + delay);
        gains.push_back(recorded[b + delay] / played[b]);
    }
    if (gains.size() < 2 * faded_blocks) return std::nullopt;
    // The usual gain: of the louder half, so that it holds even if the signal went early.
    std::vector<double> sorted = gains;
    const std::size_t rank = sorted.size() - 1 - sorted.size() / 10;
    std::nth_element(sorted.begin(), sorted.begin() + static_cast<std::ptrdiff_t>(rank), sorted.end());
    const double usual = sorted[rank];
    std::size_t run = 0;
    for (std::size_t i = 0; i < gains.size(); ++i) {
        run = gains[i] < faded_gain * usual ? run + 1 : 0;
        if (run == faded_blocks) {
            const std::size_t first = judged[i + 1 - faded_blocks];
            return LostSignal{LostSignal::How::faded, static_cast<double>(first * block_frames) / sample_rate_hz};
        }
    }
    return std::nullopt;
}

std::string describe(const LostSignal& lost, const std::string& device, std::size_t generator_input) {
    const std::size_t input = generator_input + 1;
    switch (lost.how) {
        case LostSignal::How::never_came:
            return fmt::format(
                "input {} of '{}' stayed exactly silent while the stimulus played: check that the output "
                "is wired to it, that nothing is muted and that the channels are the right ones",
                input, device);
        case LostSignal::How::stuck:
            return fmt::format(
                "input {} of '{}' went silent at {:.1f} s while the stimulus still played: the device or "
                "its connection was lost; reconnect it and repeat",
                input, device, lost.at_s);
        case LostSignal::How::faded:
            break;
    }
    return fmt::format(
        "the signal at input {} of '{}' broke off at {:.1f} s while the stimulus still played: check the "
        "plugs and leads on the generator side and repeat",
        input, device, lost.at_s);
}

}  // namespace coldtune::audio
