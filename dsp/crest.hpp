// Phases that keep the peaks of a sum of cosines low.
#pragma once

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace coldtune::dsp {

// phi_n = phi_1 - 2 pi sum_{l<n} (n - l) p_l, p the relative powers of the lines: a sweep that spends on each line the
// time its power deserves. For lines side by side. (M. R. Schroeder, IEEE Trans. IT-16, 85, 1970.) Radian; phi_1 = 0.
std::vector<double> schroeder_phases(std::span<const double> amplitude);

// Turns the phases of `lines` (bins first_bin, first_bin + 1, ... of a period of period_frames), keeping their
// magnitudes, until the crest factor (peak/rms, between the samples as well) is 1.65 or rounds run out. Schroeder's
// phases leave about 1.9 for a band that does not begin at the first harmonic, because the end of the sweep and the
// beginning of the next overlap there. Method: clip, transform, keep the phases, put the magnitudes back (E. van der
// Ouderaa, J. Schoukens, J. Renneboog, IEEE Trans. IM-37, 207, 1988, from memory). Periods over 2^18 frames are watched
// at their samples only and those over 2^21 are left alone: the time would be seconds.
void lower_crest(std::span<std::complex<double>> lines, std::size_t first_bin, std::size_t period_frames);

}  // namespace coldtune::dsp
