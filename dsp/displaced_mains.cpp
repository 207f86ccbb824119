#include <algorithm>
#include <array>
#include <cmath>

#include "dsp/capture_health_parts.hpp"
#include "dsp/spectra.hpp"

namespace coldtune::dsp {
namespace {

// Ratios of the usual rates (44.1, 48, 88.2, 96, 176.4, 192 kHz): stated over true. Twice and four times are left out,
// because 100 and 120 Hz are hum of rectifiers as well.
constexpr std::array ratios{44.1 / 48, 48 / 44.1, 0.5, 0.25, 44.1 / 96, 48 / 88.2, 88.2 / 48, 96 / 44.1};
constexpr std::size_t harmonics_sought = 8;
// Harmonics that only a displaced comb explains, the fundamental among them; more where slow machines hum as well.
constexpr std::size_t enough = 2, enough_below_mains = 3;
constexpr double grid_tolerance = 5e-3;     // a grid in good order keeps to 0.4 %
constexpr double line_stands_out = 100.0;   // 20 dB
constexpr double coarsest_bin_hz = 2.2;     // 50 * 48/44.1 = 54.4 and 60 Hz are then three bins apart
constexpr std::ptrdiff_t surroundings = 8;  // bins, on either side

struct Lines {
    const AveragedSpectra& spectra;

    // The frequency of a line that is there within `tolerance` of a frequency.
    [[nodiscard]] std::optional<double> near(double frequency_hz) const {
        const auto& density = spectra.second;
        const auto at = [&](std::ptrdiff_t k) { return density[static_cast<std::size_t>(k)]; };
        std::ptrdiff_t peak = std::lround(frequency_hz / spectra.bin_hz);
        // The peak may be the next bin on either side, and its surroundings must be there as well.
        if (peak < surroundings + 1 || peak + surroundings + 1 >= static_cast<std::ptrdiff_t>(density.size()))
            return {};
        for (const std::ptrdiff_t k : {peak - 1, peak + 1})
            if (at(k) > at(peak)) peak = k;
        if (at(peak - 1) > at(peak) || at(peak + 1) > at(peak)) return {};
        std::array<double, 2 * surroundings - 6> around{};
        std::size_t count = 0;
        for (std::ptrdiff_t k = -surroundings; k <= surroundings; ++k)
            if (std::abs(k) > 3) around[count++] = at(peak + k);
        std::nth_element(around.begin(), around.begin() + around.size() / 2, around.end());
        if (!(at(peak) > line_stands_out * around[around.size() / 2])) return {};
        const double left = at(peak - 1), middle = at(peak), right = at(peak + 1);
        const double found = (static_cast<double>(peak) + (right - left) / (left + middle + right)) * spectra.bin_hz;
        const double reach = grid_tolerance * frequency_hz + 0.25 * spectra.bin_hz;
        return std::abs(found - frequency_hz) < reach ? std::optional(found) : std::nullopt;
    }
};

// Whether some whole multiple of `base_hz` is this near.
bool multiple_of(double frequency_hz, double base_hz, double tolerance_hz) {
    return std::abs(std::remainder(frequency_hz, base_hz)) < tolerance_hz;
}

}  // namespace

std::optional<CaptureHealth::DisplacedMains> displaced_mains(std::span<const double> channel, double sample_rate_hz,
                                                             double below_hz, double period_hz) {
    const auto second = static_cast<std::size_t>(std::llround(sample_rate_hz));
    const std::size_t segment = std::min(channel.size(), second);
    if (segment == 0 || sample_rate_hz / static_cast<double>(segment) > coarsest_bin_hz) return std::nullopt;
    const auto spectra = averaged_spectra(channel, channel, sample_rate_hz, segment, 0);
    const Lines lines{spectra};
    const bool in_place = lines.near(50) || lines.near(60);

    std::optional<CaptureHealth::DisplacedMains> best;
    std::size_t most = 0;
    for (const double mains : {50.0, 60.0}) {
        for (const double ratio : ratios) {
            // A half or a quarter of the mains has a harmonic at the mains itself.
            const bool part = ratio == 0.5 || ratio == 0.25;
            if (in_place && !part) continue;
            std::size_t count = 0;
            double sum = 0;
            for (std::size_t h = 1; h <= harmonics_sought; ++h) {
                const double expected = mains * ratio * static_cast<double>(h);
                if (expected > 0.7 * below_hz) break;
                const auto found = lines.near(expected);
                if (!found && h == 1) break;
                if (!found) continue;
                const double width = spectra.bin_hz + grid_tolerance * *found;
                // These the mains has in its right place, and those of rectifiers of either grid.
                if (multiple_of(*found, mains, width)) continue;
                if (multiple_of(*found, 100, width) || multiple_of(*found, 120, width)) continue;
                // What the sweep's distortion leaves below it; where such lines lie closer, none stands out.
                if (period_hz > 4 * spectra.bin_hz && multiple_of(*found, period_hz, 0.3 * spectra.bin_hz)) continue;
                sum += *found / static_cast<double>(h);
                ++count;
            }
            if (count < (part ? enough_below_mains : enough) || count <= most) continue;
            most = count;
            best = CaptureHealth::DisplacedMains{mains, sum / static_cast<double>(count)};
        }
    }
    return best;
}

}  // namespace coldtune::dsp
