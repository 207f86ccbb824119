#include "analyzer/tuning/clock_share.hpp"

#include <cmath>

namespace coldtune::tuning {

ClockShare clock_share(const measure::KnownValue& value) {
    ClockShare share;
    for (const auto& part : value.parts) {
        double& into = part.source == "clock" || part.source == "clock drift" ? share.clock : share.rest;
        into = std::hypot(into, part.relative_u);
    }
    return share;
}

}  // namespace coldtune::tuning
