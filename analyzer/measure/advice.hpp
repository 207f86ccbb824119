// Before measuring: which way will serve for this coil on this interface, and how well.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/loading_choice.hpp"
#include "analyzer/measure/result.hpp"
#include "analyzer/model/geometry.hpp"
#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::measure {

struct Advice {
    double sample_rate_hz = 0;
    dsp::Band band;  // assumed usable; the capture itself decides later
    double calculated_hz = 0;
    double reference_ohm = 0;  // the one asked about
    // The direct way that will serve; empty when neither in-band nor below-band does.
    std::optional<Way> way;
    // Half-width at 95 % to expect, relative to the resonance, with the open standard; empty without a way.
    std::optional<double> expected_u95_relative;
    // The E12 resistor that gives the narrowest interval, and that interval.
    std::optional<double> best_reference_ohm, best_u95_relative;
    std::vector<LoadingChoice> loading;  // ascending capacitance; empty when none is useful
    std::string sentence;
};

// What is assumed of the interface: noise -100 dBFS in each channel, a sweep of about 5 s at -6 dBFS peak, inputs of 1
// Mohm and 150 pF, the open standard measured. Errors: the description cannot be built; a rate outside 8 to 384 kHz or
// a reference outside 1 ohm to 10 Mohm (usage).
Result<Advice> advise(const model::CoilDescription& coil, double sample_rate_hz, double reference_ohm);

}  // namespace coldtune::measure
