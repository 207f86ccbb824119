// Reading a signal between its samples.
#pragma once

#include <cstddef>
#include <span>

namespace coldtune::dsp {

// out[i] = signal at frame `first` + i * step, by a Kaiser-windowed sinc of 88 samples: everything up to 0.45 of the
// sample rate passes with errors below -120 dB of its own level. Meant for steps very near to 1 (two clocks that nearly
// agree): nothing is filtered. Frames outside the signal count as zero.
void read_at(std::span<const double> signal, double first, double step, std::span<double> out);

}  // namespace coldtune::dsp
