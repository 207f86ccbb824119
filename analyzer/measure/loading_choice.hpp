// Which capacitors would bring a coil's resonance into the band.
#pragma once

#include <string>
#include <vector>

#include "analyzer/model/secondary.hpp"
#include "dsp/capture.hpp"

namespace coldtune::measure {

// A known capacitor from the head to the return, and where it would bring the resonance.
struct LoadingChoice {
    double capacitance_f = 0;  // E12
    double resonance_hz = 0;
};

// At most three, ascending in capacitance, that bring the first resonance to well-spaced places inside the band; empty
// when none between 10 pF and 10 nF does.
std::vector<LoadingChoice> loading_choices(const model::SecondaryModel& model, const dsp::Band& band);

// "150 pF (71.2 kHz), 330 pF (52.0 kHz)"; empty for none.
std::string in_words(const std::vector<LoadingChoice>& choices);

}  // namespace coldtune::measure
