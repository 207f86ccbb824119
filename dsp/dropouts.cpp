#include <algorithm>
#include <array>
#include <cmath>

#include "dsp/capture_health_parts.hpp"
#include "dsp/quantisation.hpp"
#include "dsp/resample.hpp"
#include "dsp/sums.hpp"

namespace coldtune::dsp {
namespace {

using Dropout = CaptureHealth::Dropout;

// Shorter than any buffer an audio driver loses; longer than a signal well above its rounding step rests.
constexpr std::size_t shortest_stuck = 16;
constexpr std::size_t neighbourhood = 512;

double power_of(std::span<const double> samples) {
    return samples.empty() ? 0.0 : sum_of_squares(samples) / static_cast<double>(samples.size());
}

// Mean square of the steps from sample to sample around frames first .. last-1, without them.
double step_power_around(std::span<const double> channel, std::size_t first, std::size_t last) {
    double sum = 0;
    std::size_t count = 0;
    const auto add = [&](std::size_t from, std::size_t to) {
        for (std::size_t i = from + 1; i < to; ++i, ++count)
            sum += (channel[i] - channel[i - 1]) * (channel[i] - channel[i - 1]);
    };
    add(first > neighbourhood ? first - neighbourhood : 0, first);
    add(last, std::min(channel.size(), last + neighbourhood));
    return count > 0 ? sum / static_cast<double>(count) : 0.0;
}

void find_stuck(std::span<const double> channel, const SignalExtent& signal, double step, std::vector<Dropout>& found) {
    const double loud = power_of(channel.subspan(signal.first, signal.last - signal.first));
    for (std::size_t i = signal.first; i + shortest_stuck < signal.last;) {
        // A run that long covers at least one of every 16 frames, and its neighbour.
        if (channel[i] != channel[i + 1]) {
            i += shortest_stuck / 2;
            continue;
        }
        std::size_t first = i, last = i + 1;
        while (first > signal.first && channel[first - 1] == channel[i]) --first;
        while (last < signal.last && channel[last] == channel[i]) ++last;
        const std::size_t frames = last - first;
        i = std::max(last, i + shortest_stuck / 2);
        if (frames < shortest_stuck) continue;
        // Around it the signal must be alive, and moving fast enough not to rest on one step for so long.
        const std::size_t from = first > neighbourhood ? first - neighbourhood : 0;
        const std::size_t to = std::min(channel.size(), last + neighbourhood);
        const double near =
            std::max(power_of(channel.subspan(from, first - from)), power_of(channel.subspan(last, to - last)));
        const double move = std::sqrt(step_power_around(channel, first, last)) * static_cast<double>(frames);
        if (near > 0.01 * loud && move > 8 * step) found.push_back({first, frames});
    }
}

void find_repeated(std::span<const double> channel, const SignalExtent& signal, std::vector<Dropout>& found) {
    // Buffer lengths in use: powers of two and the whole milliseconds of the usual rates.
    constexpr std::array<std::size_t, 22> lengths{32,  48,  64,  96,  128, 144, 192,  240,  256,  288,  384,
                                                  441, 480, 512, 576, 882, 960, 1024, 1152, 1920, 2048, 4096};
    // Stretch by stretch, so that each is read from memory once and not once for every length.
    constexpr std::size_t stretch = 32768;
    std::array<std::size_t, lengths.size()> next{};
    std::array<std::vector<Dropout>, lengths.size()> of_length;
    for (std::size_t l = 0; l < lengths.size(); ++l) next[l] = signal.first + lengths[l];
    const auto search = [&](std::size_t l, std::size_t until) {
        const std::size_t block = lengths[l];
        std::size_t& i = next[l];
        while (i < until && i + 16 < signal.last) {
            if (channel[i] != channel[i - block] || channel[i + 1] != channel[i + 1 - block]) {
                i += 16;
                continue;
            }
            std::size_t first = i, last = i;
            while (first > signal.first + block && channel[first - 1] == channel[first - 1 - block]) --first;
            while (last < signal.last && channel[last] == channel[last - block]) ++last;
            const std::size_t frames = last - first;
            i = std::max(last, i) + 16;
            // Equal for about one block: the block was played twice. Much longer: the signal has that period.
            if (frames + 2 < block || frames > 2 * block) continue;
            const auto part = channel.subspan(first, frames);
            std::size_t changes = 0;
            for (std::size_t j = 1; j < part.size(); ++j) changes += part[j] != part[j - 1] ? 1U : 0U;
            if (2 * changes > frames) of_length[l].push_back({first, frames});
        }
    };
    for (std::size_t until = signal.first + stretch; until < signal.last + stretch; until += stretch)
        for (std::size_t l = 0; l < lengths.size(); ++l) search(l, until);
    for (const auto& of_one : of_length) found.insert(found.end(), of_one.begin(), of_one.end());
}

}  // namespace

std::size_t clipped_frames(std::span<const double> channel) {
    if (channel.size() < 8) return 0;
    const auto [lowest, highest] = std::minmax_element(channel.begin(), channel.end());
    const double top = *highest, bottom = *lowest;
    if (top == bottom) return 0;
    const double step = quantisation_step(channel.first(std::min<std::size_t>(channel.size(), 65536)));
    const double reach = 0.01 * std::max(std::abs(top), std::abs(bottom));
    std::size_t clipped = 0;
    for (std::size_t i = 0; i < channel.size();) {
        const double value = channel[i];
        const bool high = value > 0 && value >= top - reach, low = value < 0 && value <= bottom + reach;
        std::size_t last = i + 1;
        if (high || low) {
            while (last < channel.size() && channel[last] == value) ++last;
            const std::size_t frames = last - i;
            if (frames >= 3) {
                // The rounded top of a slow wave falls by 8 steps within its own width on either side (a parabola); a
                // torn-off top falls much further.
                const double before = i >= frames ? std::abs(channel[i - frames] - value) : 0.0;
                const double after =
                    last + frames <= channel.size() ? std::abs(channel[last + frames - 1] - value) : 0.0;
                if (std::max(before, after) > 24 * step) clipped += frames;
            }
        }
        i = last;
    }
    return clipped;
}

std::vector<Dropout> stuck_or_repeated(std::span<const double> channel, const SignalExtent& signal) {
    std::vector<Dropout> found;
    const double step = quantisation_step(channel.first(std::min<std::size_t>(channel.size(), 65536)));
    // A channel of a few rounding steps rests on its own.
    if (power_of(channel.subspan(signal.first, signal.last - signal.first)) < 64 * step * step) return found;
    find_stuck(channel, signal, step, found);
    find_repeated(channel, signal, found);
    return found;
}

std::vector<Dropout> breaks_of_period(std::span<const double> channel, const SignalExtent& signal,
                                      std::size_t period_frames, double drift_ppm) {
    const std::size_t n = period_frames;
    std::vector<Dropout> found;
    const double stretch = 1.0 + drift_ppm * 1e-6;
    std::vector<double> straight;
    std::span<const double> samples = channel.subspan(signal.first, signal.last - signal.first);
    // Less than a hundredth of a frame per period shows as -30 dB at the top of the band, below the limit used here.
    const bool read = std::abs(drift_ppm) * 1e-6 * static_cast<double>(n) > 0.01;
    if (read) {
        straight.resize(static_cast<std::size_t>(static_cast<double>(samples.size()) / stretch));
        read_at(channel, static_cast<double>(signal.first), stretch, straight);
        samples = straight;
    }
    if (samples.size() < 2 * n) return found;
    // The first period may fade in.
    const std::size_t skipped = samples.size() >= 3 * n ? n : 0;
    const std::size_t block = std::clamp<std::size_t>(n / 64, 16, 1024);
    const std::size_t blocks = (samples.size() - n - skipped) / block;
    std::vector<double> difference(blocks);
    for (std::size_t b = 0; b < blocks; ++b) {
        const auto early = samples.subspan(skipped + b * block, block),
                   late = samples.subspan(skipped + b * block + n, block);
        double d = 0, s = 0;
        for (std::size_t i = 0; i < block; ++i) {
            d += (late[i] - early[i]) * (late[i] - early[i]);
            s += late[i] * late[i] + early[i] * early[i];
        }
        difference[b] = s > 0 ? d / s : 0.0;
    }
    if (blocks < 4) return found;
    auto sorted = difference;
    const auto lower = sorted.begin() + static_cast<std::ptrdiff_t>(blocks / 4);
    std::nth_element(sorted.begin(), lower, sorted.end());
    const double limit = std::max(0.02, 20 * *lower);
    if (limit > 0.5) return found;  // too noisy to tell

    // Runs of blocks that differ, short agreements in between bridged (a jump hardly shows at low frequencies).
    struct Run {
        std::size_t first, last;  // blocks, last exclusive
    };
    std::vector<Run> runs;
    const std::size_t bridge = std::max<std::size_t>(2, n / block / 4);
    for (std::size_t b = 0; b < blocks; ++b) {
        if (difference[b] <= limit) continue;
        if (!runs.empty() && b <= runs.back().last + bridge)
            runs.back().last = b + 1;
        else
            runs.push_back({b, b + 1});
    }
    // A glitch shows twice, a period apart: against the good period before it and the one after it. A jump shows once,
    // for about a period, up to the frame where it lies.
    const auto frame = [&](std::size_t b) {
        const double at = static_cast<double>(skipped + b * block) * (read ? stretch : 1.0);
        return signal.first + static_cast<std::size_t>(at);
    };
    std::vector<char> used(runs.size(), 0);
    for (std::size_t r = 0; r < runs.size(); ++r) {
        if (used[r] != 0) continue;
        const std::size_t length = (runs[r].last - runs[r].first) * block;
        bool twin = false;
        for (std::size_t q = r + 1; q < runs.size() && length < n / 2; ++q) {
            const double apart = static_cast<double>((runs[q].first - runs[r].first) * block);
            if (std::abs(apart - static_cast<double>(n)) <= 2.0 * static_cast<double>(block)) {
                used[q] = 1;
                twin = true;
                break;
            }
        }
        const bool at_start = runs[r].first == 0, at_end = runs[r].last == blocks;
        if (twin || (length < n / 2 && (at_start || at_end)))
            found.push_back({frame(runs[r].first) + (at_start && !twin ? 0 : n), length});
        else
            found.push_back({frame(runs[r].last), 0});
    }
    return found;
}

}  // namespace coldtune::dsp
