// Noise of both channels, read where the signal is not.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>

#include "dsp/capture.hpp"
#include "dsp/signal_extent.hpp"
#include "dsp/spectra.hpp"

namespace coldtune::dsp {

// One-sided densities, full scale^2 per hertz, read between their bins linearly.
class SilenceNoise {
public:
    struct Density {
        double generator = 0;
        double coil = 0;
        std::complex<double> cross;  // conj(generator) * coil
        // Of coil - m * generator: the noise a ratio m keeps.
        [[nodiscard]] double rest(std::complex<double> m) const;
    };
    explicit SilenceNoise(AveragedSpectra spectra) : spectra_(std::move(spectra)) {}
    [[nodiscard]] Density at(double frequency_hz) const;
    // Total power of each channel's noise, mean square.
    [[nodiscard]] Density mean_squares() const;
    [[nodiscard]] std::size_t segments() const noexcept { return spectra_.segments; }

private:
    AveragedSpectra spectra_;
};

// The silence before and after `signal`, a margin away from it, averaged over at least 8 segments of at least 64
// frames; nullopt where there is not that much. `signal` covers both channels (a coil rings longer than its generator
// sounds).
std::optional<SilenceNoise> silence_noise(const TwoChannelCapture& capture, const SignalExtent& signal);

}  // namespace coldtune::dsp
