// What of an uncertainty comes from the clock: two values of one interface share it, and it drops out of their ratio.
#pragma once

#include "analyzer/measure/known_result.hpp"

namespace coldtune::tuning {

// Relative standard uncertainties; their squares add up to the whole.
struct ClockShare {
    double clock = 0, rest = 0;
};
ClockShare clock_share(const measure::KnownValue& value);

}  // namespace coldtune::tuning
