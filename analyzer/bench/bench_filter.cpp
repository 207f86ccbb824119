#include "analyzer/bench/bench_filter.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "analyzer/bench/bench_parallel.hpp"
#include "analyzer/bench/bench_table.hpp"
#include "dsp/fft.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::bench {
namespace {

using Complex = std::complex<double>;

constexpr double kDecayTimes = 20;
constexpr std::size_t kMostPadding = std::size_t{1} << 24;
constexpr std::size_t kClockMargin = 64;

// exp(j pi value), argument reduced first: value reaches millions and carries the phase in its last digits.
Complex unit_half_turns(double value) {
    const double reduced = std::numbers::pi * (value - 2 * std::floor(value / 2));
    return {std::cos(reduced), std::sin(reduced)};
}

// The periodic signal with these one-sided spectra (length n) at the times m * step, m = 0 .. count - 1, in samples:
// exact evaluation of its trigonometric polynomial. Both channels travel as real and imaginary part of one complex
// signal; the sum over bins becomes a convolution by k m = (k^2 + m^2 - (m - k)^2) / 2 (L. I. Bluestein, IEEE Trans.
// AU-18, 451 (1970)).
FilteredPair sample_at(std::span<const Complex> generator, std::span<const Complex> coil, std::size_t n, double step,
                       std::size_t count) {
    const std::size_t top = (n - 1) / 2;  // the bin at half the rate has no phase of its own and is left out
    const std::size_t bins = 2 * top + 1;
    const std::size_t length = dsp::choose_period(bins + count);
    const double turn = step / static_cast<double>(n);
    const auto chirp = [turn](std::size_t k) {
        const double index = static_cast<double>(k);
        return unit_half_turns(index * index * turn);
    };
    const Complex j(0, 1);
    std::vector<Complex> signal(length);
    std::vector<Complex> kernel(length);
    in_parallel(bins, [&](std::size_t first, std::size_t last) {
        for (std::size_t k = first; k < last; ++k) {
            const Complex value = k >= top ? generator[k - top] + j * coil[k - top]
                                           : std::conj(generator[top - k]) + j * std::conj(coil[top - k]);
            signal[k] = value * chirp(k);
        }
    });
    in_parallel(std::max(bins, count), [&](std::size_t first, std::size_t last) {
        for (std::size_t k = first; k < last; ++k) {
            const Complex value = std::conj(chirp(k));
            if (k < count) kernel[k] = value;
            if (k > 0 && k < bins) kernel[length - k] = value;
        }
    });
    dsp::ComplexFft fft(length);
    fft.forward(signal, signal);
    fft.forward(kernel, kernel);
    for (std::size_t k = 0; k < length; ++k) signal[k] *= kernel[k];
    fft.inverse(signal, signal);
    FilteredPair result{std::vector<double>(count), std::vector<double>(count)};
    const double scale = 1 / static_cast<double>(n);
    in_parallel(count, [&](std::size_t first, std::size_t last) {
        for (std::size_t m = first; m < last; ++m) {
            const double shift = 2 * static_cast<double>(top) * static_cast<double>(m) * turn;
            const Complex value = scale * signal[m] * chirp(m) * std::conj(unit_half_turns(shift));
            result.generator[m] = value.real();
            result.coil[m] = value.imag();
        }
    });
    return result;
}

}  // namespace

FilteredPair filter_pair(std::span<const double> played, const Transfer& transfer, const FilterSetting& setting) {
    const double step = 1 / setting.recorder_over_player;
    const auto reach = static_cast<std::size_t>(std::ceil(static_cast<double>(setting.frames) * step)) + kClockMargin;
    const double padding = std::ceil(kDecayTimes * setting.decay_s * setting.player_rate_hz) + 1024;
    const std::size_t n = dsp::choose_period(std::max(played.size(), reach) +
                                             static_cast<std::size_t>(std::min(padding, double{kMostPadding})));
    dsp::RealFft fft(n);
    const std::span<double> time = fft.time();
    std::fill(std::copy(played.begin(), played.end(), time.begin()), time.end(), 0.0);
    fft.forward();
    const std::span<Complex> spectrum = fft.spectrum();
    std::vector<Complex> generator(fft.bins());
    std::vector<Complex> coil(fft.bins());
    // A table is tried where it saves most of the work; it refuses itself where it would not be exact enough.
    const double half_width_hz =
        setting.decay_s > 0 ? 1 / (2 * std::numbers::pi * setting.decay_s) : setting.player_rate_hz;
    const std::optional<TransferTable> table =
        TransferTable::make(transfer, 0.5 * setting.player_rate_hz, half_width_hz, fft.bins() / 4);
    in_parallel(fft.bins(), [&](std::size_t first, std::size_t last) {
        for (std::size_t k = first; k < last; ++k) {
            const double f = static_cast<double>(k) * setting.player_rate_hz / static_cast<double>(n);
            const InputPair h = table ? (*table)(f) : transfer(f);
            generator[k] = spectrum[k] * h.generator;
            coil[k] = spectrum[k] * h.coil;
        }
    });
    if (setting.recorder_over_player != 1) return sample_at(generator, coil, n, step, setting.frames);
    const auto back = [&](std::span<const Complex> bins) {
        std::copy(bins.begin(), bins.end(), fft.spectrum().begin());
        fft.inverse();
        return std::vector<double>(fft.time().begin(),
                                   fft.time().begin() + static_cast<std::ptrdiff_t>(setting.frames));
    };
    FilteredPair result;
    result.generator = back(generator);
    result.coil = back(coil);
    return result;
}

}  // namespace coldtune::bench
