#include <algorithm>
#include <cmath>

#include "dsp/capture_health_parts.hpp"

namespace coldtune::dsp {
namespace {

constexpr std::size_t blocks = 32;  // of a period
// Of the first period: a fade and the circuit's ringing up.
constexpr std::size_t skipped = 6;

}  // namespace

std::optional<LevelChanges> level_changes(std::span<const double> channel, std::size_t period_frames,
                                          const Response& response) {
    const std::size_t n = period_frames, block = n / blocks;
    if (response.way != ResponseWay::whole_periods || response.averages < 2 || block < 16) return std::nullopt;
    // The period before those used.
    const bool settling = response.first_frame >= n;
    const std::size_t first = settling ? response.first_frame - n : response.first_frame;
    const std::size_t periods = std::min(response.averages + (settling ? 1 : 0), (channel.size() - first) / n);
    if (periods < 2) return std::nullopt;
    const auto level_of = [&](std::size_t frame, std::size_t frames) {
        double power = 0;
        for (const double x : channel.subspan(frame, frames)) power += x * x;
        return std::sqrt(power / static_cast<double>(frames));
    };
    const double drift = response.clock_drift_ppm.value_or(0) * 1e-6;
    const double whole = level_of(first + (periods - 1) * n, n);
    LevelChanges changes;
    for (std::size_t b = 0; b < blocks; ++b) {
        std::vector<double> level(periods);
        for (std::size_t p = 0; p < periods; ++p) {
            // Where two clocks differ the periods last longer or shorter: the same stretch of each.
            const double drifted = drift * static_cast<double>(p * n);
            const double at = static_cast<double>(first + p * n + b * block) + drifted;
            const auto frame = static_cast<std::size_t>(std::llround(std::max(0.0, at)));
            level[p] = level_of(std::min(frame, channel.size() - block), block);
        }
        const double last = level.back();
        // Where the sweep is weak (beyond a filter, off its centre) noise and the edges of the filter decide.
        if (!(last > 0.3 * whole)) continue;
        if (settling && b >= skipped) changes.settling = std::max(changes.settling, std::abs(level[0] / last - 1));
        for (std::size_t p = settling ? 1 : 0; p < periods; ++p)
            changes.steady = std::max(changes.steady, std::abs(level[p] / last - 1));
    }
    return changes;
}

}  // namespace coldtune::dsp
