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

// Rms of what lies within its own length on either side of a run, against the value it rests on. About 3 steps at the
// rounded top of a slow wave (a parabola that stays within one step over the run); the signal itself beside a dropout.
double depart_around(std::span<const double> channel, std::size_t first, std::size_t last) {
    const std::size_t frames = last - first;
    const std::size_t from = first > frames ? first - frames : 0, to = std::min(channel.size(), last + frames);
    double sum = 0;
    for (std::size_t i = from; i < to; ++i) sum += (channel[i] - channel[first]) * (channel[i] - channel[first]);
    const std::size_t count = to - from - frames;
    return count > 0 ? std::sqrt(sum / static_cast<double>(count)) : 0.0;
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
        // Around it the signal must be alive, and moving fast enough not to rest on one step for so long by itself.
        const std::size_t from = first > neighbourhood ? first - neighbourhood : 0;
        const std::size_t to = std::min(channel.size(), last + neighbourhood);
        // At the very start the rest is the silence before the signal, however many frames of it the extent took in.
        const bool at_start = first < signal.first + neighbourhood;
        const double before = at_start ? power_of(channel.subspan(signal.first, first - signal.first))
                                       : power_of(channel.subspan(from, first - from));
        const double near = at_start ? before : std::max(before, power_of(channel.subspan(last, to - last)));
        if (near > 0.01 * loud && depart_around(channel, first, last) > 12 * step) found.push_back({first, frames});
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
    // Of the swing, not of the size: an offset brings everything near the top.
    const double reach = 0.005 * (top - bottom);
    std::size_t clipped = 0;
    for (std::size_t i = 0; i < channel.size();) {
        const double value = channel[i];
        const bool high = value >= top - reach, low = value <= bottom + reach;
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
    // Of the whole signal: a channel that rests on zero for long shows its step nowhere else.
    const auto sounding = channel.subspan(signal.first, signal.last - signal.first);
    const double step = quantisation_step(sounding);
    // A channel of a few rounding steps rests on its own.
    if (power_of(sounding) < 64 * step * step) return found;
    find_stuck(channel, signal, step, found);
    // A sweep of few steps passes through frequencies whose neighbouring turns round to the same samples.
    constexpr double fine = 200;
    if (power_of(sounding) > fine * fine * step * step) find_repeated(channel, signal, found);
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
    // The first period may fade in, and a start is found late rather than early: three periods often measure a little
    // less.
    const std::size_t skipped = std::min(n, samples.size() - 2 * n);
    const std::size_t block = std::clamp<std::size_t>(n / 64, 16, 1024);
    const std::size_t blocks = (samples.size() - n - skipped) / block;
    double typical = 0;
    for (const double value : samples) typical += value * value;
    typical *= static_cast<double>(block) / static_cast<double>(samples.size());
    std::vector<double> difference(blocks);
    for (std::size_t b = 0; b < blocks; ++b) {
        const auto early = samples.subspan(skipped + b * block, block),
                   late = samples.subspan(skipped + b * block + n, block);
        double d = 0, s = 0;
        for (std::size_t i = 0; i < block; ++i) {
            d += (late[i] - early[i]) * (late[i] - early[i]);
            s += late[i] * late[i] + early[i] * early[i];
        }
        // Where the sweep is 20 dB down (beyond a filter) it is noise that differs.
        difference[b] = s > 0.02 * typical ? d / s : 0.0;
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
