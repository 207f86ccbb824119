// The linear part of a simulated recording: transfer functions over a whole signal, and the recorder's own clock.
#pragma once

#include <complex>
#include <cstddef>
#include <functional>
#include <span>
#include <vector>

namespace coldtune::bench {

// Transfer from the played signal to the two inputs at a frequency in hertz. Called from several threads.
struct InputPair {
    std::complex<double> generator;
    std::complex<double> coil;
};
using Transfer = std::function<InputPair(double frequency_hz)>;

struct FilterSetting {
    double player_rate_hz = 0;        // true rate of the player
    std::size_t frames = 0;           // wanted frames, counted by the recorder
    double recorder_over_player = 1;  // ratio of the two clocks
    double decay_s = 0;               // time constant of the slowest oscillation
};

struct FilteredPair {
    std::vector<double> generator;
    std::vector<double> coil;
};

// Both channels as the recorder's clock samples them; frame 0 is the first played sample. Zero before the signal.
// Linear convolution: the transform is longer than signal and 20 decay times together (a remainder of 2e-9), up to 2^24
// frames of padding.
FilteredPair filter_pair(std::span<const double> played, const Transfer& transfer, const FilterSetting& setting);

}  // namespace coldtune::bench
