#include <algorithm>
#include <array>
#include <cmath>

#include "dsp/capture_health_parts.hpp"
#include "dsp/spectra.hpp"

namespace coldtune::dsp {
namespace {

constexpr std::size_t harmonics = 12;
constexpr double mains_tolerance = 0.01;  // 1 %: wider than any public grid strays
constexpr double stands_out = 100.0;      // 20 dB

struct Line {
    double frequency_hz = 0;
    double power = 0;  // mean square
};

// The line near a frequency, if it stands 20 dB over the median of its surroundings.
std::optional<Line> line_near(const AveragedSpectra& spectra, double frequency_hz) {
    const auto& density = spectra.second;
    const auto bin = [&](double f) { return static_cast<std::ptrdiff_t>(std::lround(f / spectra.bin_hz)); };
    const std::ptrdiff_t last = static_cast<std::ptrdiff_t>(density.size()) - 1;
    const std::ptrdiff_t low = bin(frequency_hz * (1 - mains_tolerance)),
                         high = bin(frequency_hz * (1 + mains_tolerance));
    // Half-way to the nearest other multiple (10 Hz at 50 against 60) and at least 6 bins.
    const std::ptrdiff_t reach = std::max<std::ptrdiff_t>(8, bin(20.0));
    if (low < 3 || high + reach > last) return std::nullopt;
    std::ptrdiff_t peak = low;
    for (std::ptrdiff_t k = low; k <= high; ++k)
        if (density[static_cast<std::size_t>(k)] > density[static_cast<std::size_t>(peak)]) peak = k;
    std::vector<double> around;
    for (std::ptrdiff_t k = std::max<std::ptrdiff_t>(1, peak - reach); k <= std::min(last, peak + reach); ++k)
        if (std::abs(k - peak) > 3) around.push_back(density[static_cast<std::size_t>(k)]);
    const auto middle = around.begin() + static_cast<std::ptrdiff_t>(around.size() / 2);
    std::nth_element(around.begin(), middle, around.end());
    if (!(density[static_cast<std::size_t>(peak)] > stands_out * *middle)) return std::nullopt;
    Line line{static_cast<double>(peak) * spectra.bin_hz, 0.0};
    // A Hann line fills its own bin and two on either side with more than 99.9 % of its power.
    for (std::ptrdiff_t k = peak - 2; k <= peak + 2; ++k)
        line.power += density[static_cast<std::size_t>(k)] * spectra.bin_hz;
    return line;
}

}  // namespace

std::optional<CaptureHealth::Hum> mains_hum(std::span<const double> channel, double sample_rate_hz, double signal_rms) {
    // Bins of 1 Hz where the capture is long enough, never coarser than 2.5 Hz (50 and 60 Hz four bins apart).
    const auto second = static_cast<std::size_t>(std::llround(sample_rate_hz));
    const std::size_t segment = std::min(channel.size(), second);
    if (static_cast<double>(segment) < 0.4 * sample_rate_hz) return std::nullopt;
    const auto spectra = averaged_spectra(channel, channel, sample_rate_hz, segment, 0);

    CaptureHealth::Hum hum;
    double most = 0;
    double strongest = 0;
    for (const double mains : {50.0, 60.0}) {
        double total = 0, best = 0;
        for (std::size_t h = 1; h <= harmonics; ++h)
            if (const auto line = line_near(spectra, mains * static_cast<double>(h))) {
                total += line->power;
                best = std::max(best, line->power);
            }
        strongest = std::max(strongest, best);
        if (total > most) {
            most = total;
            hum.mains_hz = mains;
        }
    }
    if (!(strongest > 0)) return std::nullopt;
    hum.amplitude = std::sqrt(2.0 * strongest);
    hum.relative_to_signal_db = signal_rms > 0 ? 10.0 * std::log10(strongest / (signal_rms * signal_rms)) : 400.0;
    return hum;
}

}  // namespace coldtune::dsp
