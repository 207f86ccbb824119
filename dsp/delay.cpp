#include "dsp/delay.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

#include "dsp/fft.hpp"
#include "dsp/smooth_length.hpp"

namespace coldtune::dsp {

std::optional<std::size_t> find_delay(std::span<const double> played, std::span<const double> heard,
                                      std::size_t most_frames) {
    if (played.empty() || heard.empty()) return std::nullopt;
    // Long enough that lags do not run into each other around the circle.
    RealFft fft(smooth_length_below(2 * (std::max(played.size(), heard.size()) + most_frames + 1)));
    const auto load = [&](std::span<const double> samples) {
        std::ranges::fill(fft.time(), 0.0);
        std::ranges::copy(samples, fft.time().begin());
        fft.forward();
    };
    load(played);
    const std::vector<std::complex<double>> reference(fft.spectrum().begin(), fft.spectrum().end());
    load(heard);
    for (std::size_t k = 0; k < reference.size(); ++k) fft.spectrum()[k] *= std::conj(reference[k]);
    fft.inverse();
    const auto correlation = fft.time().first(std::min(most_frames + 1, fft.size()));
    const auto best =
        std::ranges::max_element(correlation, [](double a, double b) { return std::abs(a) < std::abs(b); });
    double played_power = 0, heard_power = 0;
    for (const double x : played) played_power += x * x;
    for (const double x : heard) heard_power += x * x;
    // Unrelated signals: a sum of n products of independent samples of these powers.
    const double chance = std::sqrt(played_power * heard_power / static_cast<double>(heard.size()));
    if (!(std::abs(*best) > 10 * chance)) return std::nullopt;
    return static_cast<std::size_t>(best - correlation.begin());
}

}  // namespace coldtune::dsp
