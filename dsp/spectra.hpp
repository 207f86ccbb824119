// Averaged spectra of segments (P. D. Welch, IEEE Trans. AU-15, 70, 1967).
//
// Conventions, the ones of scipy.signal.welch / csd / coherence with their defaults: periodic Hann window, the mean of
// each segment taken off, one-sided densities (everything but 0 Hz and, for an even segment, half the sample rate
// doubled), cross spectrum with the FIRST channel conjugated. Trailing frames that fill no segment are not used.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace coldtune::dsp {

struct AveragedSpectra {
    double bin_hz = 0;
    std::size_t segment_frames = 0;
    std::size_t segments = 0;
    // One element per bin k * bin_hz, k = 0 .. segment_frames / 2. Densities, full scale^2 per hertz.
    std::vector<double> first;                // auto spectrum of the first channel
    std::vector<double> second;               // of the second
    std::vector<std::complex<double>> cross;  // conj(first) * second
    // The same of consecutive segments, in so many parts as were asked for, each the average of its own segments.
    struct Part {
        std::vector<double> first;
        std::vector<std::complex<double>> cross;
    };
    std::vector<Part> parts = {};

    // Response from first to second by the H1 estimate: unbiased by noise in the second channel. 0 where the first
    // channel is silent.
    [[nodiscard]] std::complex<double> h1(std::size_t bin) const;
    // Magnitude squared, 0 .. 1; 0 where either channel is silent. From `segments` averages of unrelated noise it is
    // about 1 / segments, not 0.
    [[nodiscard]] double coherence(std::size_t bin) const;
};

// Both channels have the same length and hold at least one segment; segment_frames >= 2, overlap_frames <
// segment_frames. Otherwise the result has no segments. No parts are kept when there are fewer segments than `parts`.
AveragedSpectra averaged_spectra(std::span<const double> first, std::span<const double> second, double sample_rate_hz,
                                 std::size_t segment_frames, std::size_t overlap_frames, std::size_t parts = 0);

// Half overlapped (segment_frames / 2 frames shared).
AveragedSpectra averaged_spectra(std::span<const double> first, std::span<const double> second, double sample_rate_hz,
                                 std::size_t segment_frames);

// w[i] = 1/2 - 1/2 cos(2 pi i / n).
std::vector<double> hann_periodic(std::size_t n);

// How many independent averages `segments` half-overlapped Hann segments are worth. Neighbours' transforms are
// correlated by rho = sum w[i] w[i + n/2] / sum w[i]^2 = 1/6, so the variance of an average is (1 + 2 rho^2 (K - 1) /
// K) / K of one segment's (Welch 1967, eq. 12 ff.).
double independent_averages(std::size_t segments);

}  // namespace coldtune::dsp
