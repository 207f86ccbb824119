// Said before the first sweep: which way will serve for a coil on an interface.
#pragma once

#include <string>

#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

struct WayAhead {
    Way way = Way::in_band;
    std::string sentence;  // one, for the person who chose the interface
};

// From the calculated resonance and the sample rate, both > 0. The usable band is taken as default_band's. Limits after
// the design: in-band up to the band's edge less the calculation's own uncertainty, below-band up to three times the
// edge, loading series beyond.
WayAhead way_ahead(double calculated_hz, double calculated_u95_hz, double sample_rate_hz);

}  // namespace coldtune::measure
