// What holds for every curve that came from outside.
#pragma once

#include <cmath>

#include "analyzer/measure/result.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

inline void require_curve(const measure::Curve& curve) {
    const std::size_t points = curve.frequency_hz.size();
    require(points > 0 && curve.impedance_ohm.size() == points, "a curve has points, each with an impedance");
    require(curve.standard_deviation_ohm.empty() || curve.standard_deviation_ohm.size() == points,
            "deviations belong to all points or none");
    for (std::size_t k = 0; k < points; ++k) {
        require(
            std::isfinite(curve.frequency_hz[k]) && curve.frequency_hz[k] > (k == 0 ? 0.0 : curve.frequency_hz[k - 1]),
            "frequencies rise from above 0");
        require(std::isfinite(curve.impedance_ohm[k].real()) && std::isfinite(curve.impedance_ohm[k].imag()),
                "impedances are numbers");
    }
}

}  // namespace coldtune::fuzz
