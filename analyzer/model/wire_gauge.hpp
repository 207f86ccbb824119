// American Wire Gauge, ASTM B258.
#pragma once

#include <cmath>

namespace coldtune::model {

// Bare diameter in metres of a gauge number (0000 is -3). ASTM B258 defines gauges 36 and 0000 as 0.005 in and 0.46 in
// with 39 geometric steps between them: d = 0.127 mm * 92^((36 - n)/39). Exact by definition; the standard's printed
// sizes are rounded.
inline double awg_diameter_m(double gauge) {
    return 0.127e-3 * std::pow(92.0, (36.0 - gauge) / 39.0);
}

}  // namespace coldtune::model
