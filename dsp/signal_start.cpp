#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <vector>

#include "dsp/response.hpp"
#include "dsp/signal_extent.hpp"
#include "dsp/sums.hpp"

namespace coldtune::dsp {
namespace {

constexpr double nothing = 1e-6;       // -120 dBFS: under the noise of every audio converter
constexpr std::size_t group = 8;       // blocks that make one steady reading of a level
constexpr std::size_t sustained = 32;  // blocks over which a signal must go on to be one, and not a click

struct Levels {
    std::size_t block_frames = 0;
    std::vector<double> rms;  // of each whole block, in the order of the iterator
    double loudest = 0;       // rms of the loudest group of blocks
};

Levels levels_of(std::span<const double> channel, double mean) {
    Levels levels;
    levels.block_frames = std::clamp<std::size_t>(channel.size() / 64, 1, 64);
    const std::size_t blocks = channel.size() / levels.block_frames;
    levels.rms.resize(blocks);
    double in_group = 0;
    const double* frame = channel.data();
    for (std::size_t b = 0; b < blocks; ++b) {
        // Four sums, so that vector instructions may be used.
        std::array<double, 4> part{};
        std::size_t i = 0;
        for (; i + 4 <= levels.block_frames; i += 4, frame += 4)
            for (std::size_t j = 0; j < 4; ++j) part[j] += (frame[j] - mean) * (frame[j] - mean);
        for (; i < levels.block_frames; ++i, ++frame) part[0] += (*frame - mean) * (*frame - mean);
        const double power = (part[0] + part[1] + part[2] + part[3]) / static_cast<double>(levels.block_frames);
        levels.rms[b] = std::sqrt(power);
        in_group += power;
        if (b % group == group - 1 || b + 1 == blocks) {
            levels.loudest = std::max(levels.loudest, std::sqrt(in_group / static_cast<double>(b % group + 1)));
            in_group = 0;
        }
    }
    return levels;
}

// Frames of silence before the signal. `begin` walks over the frames of the blocks in the order of `levels`.
template <typename Iterator>
std::size_t silence_before(Iterator begin, const Levels& levels, double mean) {
    const auto& rms = levels.rms;
    const std::size_t blocks = rms.size();
    const std::size_t head = std::min<std::size_t>(4, blocks);
    double quiet = 0;
    for (std::size_t b = 0; b < head; ++b) quiet += rms[b] * rms[b];
    quiet = std::sqrt(quiet / static_cast<double>(head));
    if (quiet > 0.25 * levels.loudest) return 0;

    // The level that counts as silence follows what has been seen so far, because hum may begin anywhere in its cycle;
    // it follows at most to 5 % of the signal, or a slow fade would carry it along. Single blocks (clicks) are ignored.
    const double most = std::max(quiet, 0.05 * levels.loudest);
    std::vector<double> floor(blocks, quiet);
    std::size_t found = blocks;
    for (std::size_t b = 0; b < blocks; ++b) {
        if (b > 1) floor[b] = std::max(floor[b - 1], std::min({rms[b - 1], rms[b - 2], most}));
        const double threshold = std::min(std::max(3.0 * floor[b], 0.03 * levels.loudest), 0.5 * levels.loudest);
        if (rms[b] <= threshold) continue;
        const std::size_t until = std::min(blocks, b + sustained);
        const auto above = std::count_if(rms.begin() + static_cast<std::ptrdiff_t>(b),
                                         rms.begin() + static_cast<std::ptrdiff_t>(until),
                                         [threshold](double level) { return level > threshold; });
        if (2 * static_cast<std::size_t>(above) >= until - b) {
            found = b;
            break;
        }
    }
    if (found == blocks) return 0;
    // The silence as it was before a fade may have begun.
    quiet = floor[found > 64 ? found - 64 : found / 2];

    // Back over the foot of a fade, then to the first sample that the silence's own noise does not explain. Four times
    // the rms is passed by Gaussian noise once in 16000 samples; a start found a little late costs nothing but frames.
    while (found > 0 && rms[found - 1] > 2.0 * quiet) --found;
    const std::size_t from = found * levels.block_frames;
    for (std::size_t i = 0; i < levels.block_frames; ++i)
        if (std::abs(begin[static_cast<std::ptrdiff_t>(from + i)] - mean) > 4.0 * quiet) return from + i;
    return from;
}

double mean_power(std::span<const double> samples) {
    return sum_of_squares(samples) / static_cast<double>(samples.size());
}

}  // namespace

std::optional<SignalExtent> find_signal_extent(std::span<const double> channel) {
    if (channel.empty()) return std::nullopt;
    const double mean = sum_of(channel) / static_cast<double>(channel.size());
    Levels levels = levels_of(channel, mean);
    if (!(levels.loudest > nothing)) return std::nullopt;
    SignalExtent extent;
    extent.first = silence_before(channel.begin(), levels, mean);
    // The same from the end; the few frames after the last whole block go with it.
    const auto blocks = channel.first(levels.rms.size() * levels.block_frames);
    std::reverse(levels.rms.begin(), levels.rms.end());
    const std::size_t after = silence_before(blocks.rbegin(), levels, mean);
    extent.last = after > 0 ? blocks.size() - after : channel.size();
    if (extent.last <= extent.first) return std::nullopt;
    return extent;
}

SignalExtent trim_unsteady_end(std::span<const double> channel, SignalExtent extent, std::size_t period_frames) {
    if (extent.last < extent.first + 2 * period_frames) return extent;
    const std::size_t block = std::max<std::size_t>(16, period_frames / 128);
    // Noise of a tenth of the signal's amplitude moves the level of a block of 16 by about 5 %; fades move it further.
    const double tolerance = 0.15;
    const std::size_t limit =
        std::max(extent.first + period_frames, extent.last - std::min(extent.last, period_frames));
    while (extent.last >= limit + block) {
        const double here = mean_power(channel.subspan(extent.last - block, block));
        const double before = mean_power(channel.subspan(extent.last - block - period_frames, block));
        if (std::abs(std::sqrt(here) - std::sqrt(before)) <= tolerance * std::sqrt(before)) break;
        extent.last -= block;
    }
    return extent;
}

std::optional<std::size_t> find_signal_start(const std::vector<double>& channel) {
    const auto extent = find_signal_extent(channel);
    if (!extent) return std::nullopt;
    return extent->first;
}

}  // namespace coldtune::dsp
