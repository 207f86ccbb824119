// Peaks in the real part of a noisy admittance or impedance.
//
// Matched smoothing: at every position and at widths from one bin to a third of the data, the mean of a centre block is
// compared with the straight line through the blocks on either side. A low peak spread over many bins is found at its
// own width, a sloping background cancels, and a single spoiled bin is no peak (a running median of three comes first;
// a resonance always shows in more than one bin).
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "dsp/resonance_fit.hpp"
#include "dsp/resonance_model.hpp"

namespace coldtune::dsp {

struct FoundPeak {
    Peak peak;
    double contrast = 0;   // height above its surroundings
    double width_hz = 0;   // of the smoothing that showed it best, about the bandwidth f0/Q; f0/Q once refined
    std::size_t bin = 0;   // index into the bins searched
    std::size_t span = 1;  // bins in that width
};

struct PeakSearch {
    std::vector<FoundPeak> peaks;  // above the detection limit, highest contrast first
    // The curve is highest at an end of the data and still rising there: a resonance beyond it. Excess of the last
    // block over the median of the data, zero where that is not so.
    double low_edge_excess = 0;
    double high_edge_excess = 0;
};

PeakSearch search_peaks(std::span<const ResonanceBin> bins, double detection_sigma);

}  // namespace coldtune::dsp
