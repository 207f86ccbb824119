#include "analyzer/tuning/capacitor_change.hpp"

#include <cmath>

#include "analyzer/record/preferred_values.hpp"

namespace coldtune::tuning {

CapacitorChange capacitor_change(double capacitance_f, double present_hz, double target_hz) {
    CapacitorChange change;
    const double ratio = present_hz / target_hz;
    change.needed_f = capacitance_f * ratio * ratio;
    change.change_f = change.needed_f - capacitance_f;
    if (change.change_f < 0) {
        change.series_f = capacitance_f * change.needed_f / -change.change_f;
        return change;
    }
    const auto nearest = record::nearest_preferred(change.change_f, record::Series::e12);
    if (!nearest) return change;
    const double with_it = present_hz / std::sqrt(1 + *nearest / capacitance_f);
    if (std::abs(with_it - target_hz) >= std::abs(present_hz - target_hz)) return change;
    change.preferred_f = *nearest;
    change.preferred_hz = with_it;
    return change;
}

}  // namespace coldtune::tuning
