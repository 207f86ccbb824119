// Where the signal of a channel lies between the silences that may surround it.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace coldtune::dsp {

// Frames first .. last-1. A channel that sounds from its first (to its last) frame has no silence there and begins at 0
// (ends at its size). Silence may hold noise and hum as long as it stays about 12 dB under the loudest part.
struct SignalExtent {
    std::size_t first = 0;
    std::size_t last = 0;
};

// nullopt: nothing above -120 dBFS in any stretch of the channel, its mean taken off.
std::optional<SignalExtent> find_signal_extent(std::span<const double> channel);

// Moves the end of `extent` forward over a closing fade or a torn last piece, by comparing the level of short stretches
// with the level one period before. Changes nothing when less than two periods are there.
SignalExtent trim_unsteady_end(std::span<const double> channel, SignalExtent extent, std::size_t period_frames);

}  // namespace coldtune::dsp
