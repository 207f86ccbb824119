#include "dsp/silence_noise.hpp"

#include <algorithm>
#include <cmath>

namespace coldtune::dsp {
namespace {

// Frames nearest to the signal that are not called silence: pre-ringing of converter filters before, and the start of a
// fade or end of a ring-down that the extent's threshold has missed.
constexpr std::size_t margin_before = 256;
constexpr std::size_t margin_after = 1024;

}  // namespace

double SilenceNoise::Density::rest(std::complex<double> m) const {
    return std::max(0.0, coil + std::norm(m) * generator - 2.0 * (std::conj(m) * cross).real());
}

SilenceNoise::Density SilenceNoise::at(double frequency_hz) const {
    const double position =
        std::clamp(frequency_hz / spectra_.bin_hz, 1.0, static_cast<double>(spectra_.first.size()) - 1.0);
    const auto low = std::min(static_cast<std::size_t>(position), spectra_.first.size() - 2);
    const double t = position - static_cast<double>(low);
    return {spectra_.first[low] * (1 - t) + spectra_.first[low + 1] * t,
            spectra_.second[low] * (1 - t) + spectra_.second[low + 1] * t,
            spectra_.cross[low] * (1 - t) + spectra_.cross[low + 1] * t};
}

SilenceNoise::Density SilenceNoise::mean_squares() const {
    Density total;
    for (std::size_t k = 0; k < spectra_.first.size(); ++k) {
        total.generator += spectra_.first[k] * spectra_.bin_hz;
        total.coil += spectra_.second[k] * spectra_.bin_hz;
        total.cross += spectra_.cross[k] * spectra_.bin_hz;
    }
    return total;
}

std::optional<SilenceNoise> silence_noise(const TwoChannelCapture& capture, const SignalExtent& signal) {
    const std::size_t before = signal.first > margin_before ? signal.first - margin_before : 0;
    const std::size_t after_from = std::min(capture.frames(), signal.last + margin_after);
    const std::size_t after = capture.frames() - after_from;
    // 8 half-overlapped segments take 4.5 segments' length; both silences together give the average.
    const std::size_t longest = std::max(before, after);
    const std::size_t segment = std::min<std::size_t>(4096, longest * 2 / 9);
    if (segment < 64) return std::nullopt;
    const std::span<const double> g(capture.generator), c(capture.coil);
    auto head = averaged_spectra(g.first(before), c.first(before), capture.sample_rate_hz, segment);
    auto tail = averaged_spectra(g.subspan(after_from), c.subspan(after_from), capture.sample_rate_hz, segment);
    if (head.segments < tail.segments) std::swap(head, tail);
    if (tail.segments > 0) {
        const double total = static_cast<double>(head.segments + tail.segments);
        const double a = static_cast<double>(head.segments) / total, b = static_cast<double>(tail.segments) / total;
        for (std::size_t k = 0; k < head.first.size(); ++k) {
            head.first[k] = a * head.first[k] + b * tail.first[k];
            head.second[k] = a * head.second[k] + b * tail.second[k];
            head.cross[k] = a * head.cross[k] + b * tail.cross[k];
        }
        head.segments += tail.segments;
    }
    return SilenceNoise(std::move(head));
}

}  // namespace coldtune::dsp
