// How much later one signal arrives than another.
#pragma once

#include <cstddef>
#include <optional>
#include <span>

namespace coldtune::dsp {

// Whole frames by which `heard` (frames of silence, then a filtered copy of `played`, with noise) lags behind `played`,
// 0 .. `most_frames`: the largest absolute cross-correlation, computed over both signals at once by FFT. nullopt when
// nothing of `played` is in `heard`: no lag correlates better than ten standard deviations of what unrelated signals
// of the same power do.
std::optional<std::size_t> find_delay(std::span<const double> played, std::span<const double> heard,
                                      std::size_t most_frames);

}  // namespace coldtune::dsp
