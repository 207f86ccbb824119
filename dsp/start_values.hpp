// Starting values of the resonance fit from a peak that was found.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include "dsp/peak_search.hpp"
#include "dsp/resonance_model.hpp"

namespace coldtune::dsp {

// Searches frequency and Q on a grid around the peak; the other parameters are linear and solved at every node,
// weighted to first order with the immittance's own noise, from the bins inside the limits. nullopt where no node has a
// resonance pointing upwards.
std::optional<ResonanceParameters> start_values(std::span<const ResonanceBin> bins, const FoundPeak& peak,
                                                ResonanceForm form, bool series_loss, const Band& limits);

// Replaces each peak's place, height and width by those of its starting values and sorts by height above the
// surroundings: block means weighted with the noise see a peak lower than it is where the noise grows with it.
void refine_peaks(std::span<const ResonanceBin> bins, std::vector<FoundPeak>& peaks, ResonanceForm form,
                  bool series_loss);

}  // namespace coldtune::dsp
