#include "dsp/crest.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/fft.hpp"

namespace coldtune::dsp {
namespace {

constexpr std::size_t longest_between_samples = std::size_t{1} << 18;
constexpr std::size_t longest_crest = std::size_t{1} << 21;
constexpr double good_crest = 1.65;
constexpr int most_rounds = 40;

}  // namespace

std::vector<double> schroeder_phases(std::span<const double> amplitude) {
    double power = 0;
    for (const double a : amplitude) power += a * a;
    std::vector<double> phase(amplitude.size());
    // The double sum as two running sums. Turns are kept in 0 .. 1, so that no digits are lost over millions of lines.
    double cumulative = 0;
    double turns = 0;
    for (std::size_t n = 0; n < amplitude.size(); ++n) {
        phase[n] = -2.0 * std::numbers::pi * turns;
        cumulative += amplitude[n] * amplitude[n] / power;
        turns += cumulative;
        turns -= std::floor(turns);
    }
    return phase;
}

void lower_crest(std::span<std::complex<double>> lines, std::size_t first_bin, std::size_t period_frames) {
    if (period_frames > longest_crest) return;
    const std::size_t finer = period_frames <= longest_between_samples ? 4 : 1;
    RealFft fft(finer * period_frames);
    const auto spectrum = fft.spectrum();
    const auto time = fft.time();
    double energy = 0;
    std::vector<double> magnitude(lines.size());
    for (std::size_t i = 0; i < lines.size(); ++i) {
        magnitude[i] = std::abs(lines[i]);
        energy += magnitude[i] * magnitude[i];
    }
    // Of the inverse transform: each line and its mirror image, over the length.
    const double rms = std::sqrt(2.0 * energy) / static_cast<double>(fft.size());
    const double ceiling = rms * std::numbers::sqrt2;
    for (int round = 0; round < most_rounds; ++round) {
        std::fill(spectrum.begin(), spectrum.end(), std::complex<double>{});
        std::copy(lines.begin(), lines.end(), spectrum.begin() + static_cast<std::ptrdiff_t>(first_bin));
        fft.inverse();
        double peak = 0;
        for (double& value : time) {
            peak = std::max(peak, std::abs(value));
            value = std::clamp(value, -ceiling, ceiling);
        }
        if (peak <= good_crest * rms) return;
        fft.forward();
        for (std::size_t i = 0; i < lines.size(); ++i) {
            const std::complex<double> clipped = spectrum[first_bin + i];
            const double size = std::abs(clipped);
            if (size > 0) lines[i] = clipped * (magnitude[i] / size);
        }
    }
}

}  // namespace coldtune::dsp
