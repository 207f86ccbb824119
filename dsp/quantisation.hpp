// The error of rounding that repeats with the signal, and so shows in no scatter between periods.
#pragma once

#include <cstddef>
#include <span>

namespace coldtune::dsp {

// Step of the grid all samples lie on: 2^-7, 2^-15, 2^-23, 2^-31 for PCM of 8, 16, 24, 32 bits (or any other power of
// two down to 2^-31); for 32-bit floating point the step that makes the same mean error; 0 when the samples are
// neither.
double quantisation_step(std::span<const double> samples);

// Power per sample (full scale^2) of the part of the rounding error that is a function of the signal alone. `step` is
// the grid, `scatter_power` the power per sample of what differs between periods. Without any noise this is step^2 /
// 12; noise of half a step rms, added before rounding, makes nearly all of the error random, and scatter shows that
// part. Rounding as a Fourier series: W. R. Bennett, Bell Syst. Tech. J. 27, 446 (1948), from memory.
double repeating_rounding_power(double step, double scatter_power);

}  // namespace coldtune::dsp
