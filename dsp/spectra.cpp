#include "dsp/spectra.hpp"

#include <cmath>
#include <numbers>

#include "dsp/fft.hpp"
#include "dsp/sums.hpp"

namespace coldtune::dsp {

using Complex = std::complex<double>;

Complex AveragedSpectra::h1(std::size_t bin) const {
    return first[bin] > 0 ? cross[bin] / first[bin] : Complex{};
}

double AveragedSpectra::coherence(std::size_t bin) const {
    const double product = first[bin] * second[bin];
    return product > 0 ? std::norm(cross[bin]) / product : 0.0;
}

std::vector<double> hann_periodic(std::size_t n) {
    std::vector<double> window(n);
    for (std::size_t i = 0; i <= n / 2; ++i)
        window[i] = 0.5 - 0.5 * std::cos(2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(n));
    for (std::size_t i = n / 2 + 1; i < n; ++i) window[i] = window[n - i];
    return window;
}

double independent_averages(std::size_t segments) {
    const double k = static_cast<double>(segments);
    return segments == 0 ? 0.0 : k / (1.0 + 2.0 / 36.0 * (k - 1.0) / k);
}

AveragedSpectra averaged_spectra(std::span<const double> first, std::span<const double> second, double sample_rate_hz,
                                 std::size_t segment_frames, std::size_t overlap_frames, std::size_t parts) {
    AveragedSpectra result;
    result.segment_frames = segment_frames;
    if (segment_frames < 2 || overlap_frames >= segment_frames || first.size() != second.size() ||
        first.size() < segment_frames)
        return result;
    const std::size_t hop = segment_frames - overlap_frames;
    result.segments = (first.size() - segment_frames) / hop + 1;
    result.bin_hz = sample_rate_hz / static_cast<double>(segment_frames);

    const std::vector<double> window = hann_periodic(segment_frames);
    const bool same = first.data() == second.data();
    RealFft fft_first(segment_frames), fft_second(same ? 2 : segment_frames);
    const std::size_t bins = fft_first.bins();
    result.first.assign(bins, 0.0);
    result.second.assign(bins, 0.0);
    result.cross.assign(bins, Complex{});
    const auto load = [&](std::span<const double> channel, std::size_t at, RealFft& fft) {
        const auto part = channel.subspan(at, segment_frames);
        const double mean = sum_of(part) / static_cast<double>(segment_frames);
        const auto time = fft.time();
        for (std::size_t i = 0; i < segment_frames; ++i) time[i] = (part[i] - mean) * window[i];
        fft.forward();
    };
    if (parts <= result.segments) result.parts.resize(parts);
    for (auto& part : result.parts) {
        part.first.assign(bins, 0.0);
        part.cross.assign(bins, Complex{});
    }
    const auto add = [&](auto& to, std::span<const Complex> a, std::span<const Complex> b) {
        for (std::size_t k = 0; k < bins; ++k) {
            to.first[k] += std::norm(a[k]);
            to.cross[k] += Complex(a[k].real() * b[k].real() + a[k].imag() * b[k].imag(),
                                   a[k].real() * b[k].imag() - a[k].imag() * b[k].real());
        }
    };
    for (std::size_t s = 0; s < result.segments; ++s) {
        load(first, s * hop, fft_first);
        if (!same) load(second, s * hop, fft_second);
        const auto a = fft_first.spectrum(), b = same ? a : fft_second.spectrum();
        add(result, a, b);
        for (std::size_t k = 0; k < bins; ++k) result.second[k] += std::norm(b[k]);
        if (!result.parts.empty()) add(result.parts[s * parts / result.segments], a, b);
    }
    double window_power = 0;
    for (const double w : window) window_power += w * w;
    // One-sided density of the sum of so many segments.
    const auto scale = [&](auto& of, std::size_t segments) {
        const double factor = 2.0 / (sample_rate_hz * window_power * static_cast<double>(segments));
        for (auto& value : of) value *= factor;
        of.front() /= 2.0;
        if (segment_frames % 2 == 0) of.back() /= 2.0;
    };
    scale(result.first, result.segments);
    scale(result.second, result.segments);
    scale(result.cross, result.segments);
    for (std::size_t p = 0; p < result.parts.size(); ++p) {
        // Its segments s have s * parts / segments == p.
        const auto first_of = [&](std::size_t part) { return (part * result.segments + parts - 1) / parts; };
        scale(result.parts[p].first, first_of(p + 1) - first_of(p));
        scale(result.parts[p].cross, first_of(p + 1) - first_of(p));
    }
    return result;
}

AveragedSpectra averaged_spectra(std::span<const double> first, std::span<const double> second, double sample_rate_hz,
                                 std::size_t segment_frames) {
    return averaged_spectra(first, second, sample_rate_hz, segment_frames, segment_frames / 2);
}

}  // namespace coldtune::dsp
