#include "analyzer/measure/pair_parting.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace coldtune::measure {
namespace {

// Seen on ladders with other capacitance along the winding and other mutual inductance than described, whose errors the
// widened intervals must hold (tests/analyzer/pair_fit_test).
constexpr double kOfFrequency = 1.5, kOfCoupling = 0.3;
constexpr double kWorthAFit = 0.02;
// Common practice, no source.
constexpr double kLargestOfFrequency = 0.10, kLargestOfCoupling = 0.30;

}  // namespace

PairParting parting_of(const Pair& pair, const model::TwoModes& described) {
    return {pair.secondary_frequency_hz / described.secondary_frequency_hz - 1, pair.k / described.coupling - 1};
}

bool widen(PairShape& shape, const PairParting& parting) {
    const double more = std::hypot(kOfFrequency * parting.secondary, kOfCoupling * parting.coupling);
    if (more < kWorthAFit) return false;
    const PairShape none = usual_shape();
    shape.fm_u = std::min(std::hypot(shape.fm_u, more), none.fm_u);
    shape.mm_u = std::min(std::hypot(shape.mm_u, more), none.mm_u);
    return true;
}

std::optional<Finding> judge_parting(const PairParting& parting) {
    if (std::abs(parting.secondary) < kLargestOfFrequency && std::abs(parting.coupling) < kLargestOfCoupling) {
        return std::nullopt;
    }
    return Finding{
        FindingCode::several_peaks, Weight::caution,
        fmt::format("the secondary lies {:+.0f} % and the coupling {:+.0f} % from the calculated ones, more than "
                    "dimensions explain, so the interval is widened; check turns, top load and the primary's "
                    "place in the description",
                    100 * parting.secondary, 100 * parting.coupling)};
}

}  // namespace coldtune::measure
