#include "analyzer/measure/description_check.hpp"

#include <fmt/format.h>

#include <cmath>

namespace coldtune::measure {
namespace {

// Common practice, no source: a builder's tape and count are good to some per cent, a forgotten top load or a tank left
// closed moves the resonance by tens.
constexpr double kLargestPercent = 25;

}  // namespace

std::optional<Finding> judge_difference(const MeasurementResult& result) {
    const Resonance* measured = result.resonance();
    const auto percent = result.difference_percent();
    const bool of_secondary = result.hookup == bench::Hookup::foot || result.hookup == bench::Hookup::pickup;
    if (measured == nullptr || measured->way != Way::in_band || !percent || !of_secondary || !result.calculated) {
        return std::nullopt;
    }
    const double off_hz = std::abs(measured->frequency_hz - result.calculated->frequency_hz);
    if (std::abs(*percent) < kLargestPercent || off_hz < 3 * result.calculated->frequency_u95_hz) return std::nullopt;
    return Finding{
        FindingCode::several_peaks, Weight::caution,
        fmt::format(
            "the resonance lies {:+.0f} % from the calculated one, more than dimensions explain: another circuit "
            "may have been measured; open the tank, see that the winding is whole, and check turns, dimensions "
            "and top load of the description",
            *percent)};
}

}  // namespace coldtune::measure
