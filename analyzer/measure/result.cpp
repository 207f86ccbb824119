#include "analyzer/measure/result.hpp"

namespace coldtune::measure {

std::string_view way_name(Way way) {
    switch (way) {
        case Way::in_band:
            return "in-band";
        case Way::below_band:
            return "below-band";
        case Way::loading_series:
            return "loading-series";
    }
    return "in-band";
}

const Resonance* MeasurementResult::resonance() const {
    const auto* accepted = std::get_if<Accepted>(&outcome);
    return accepted != nullptr && accepted->resonance ? &*accepted->resonance : nullptr;
}

const Pair* MeasurementResult::pair() const {
    const auto* accepted = std::get_if<Accepted>(&outcome);
    return accepted != nullptr && accepted->pair ? &*accepted->pair : nullptr;
}

std::optional<double> MeasurementResult::difference_percent() const {
    const Resonance* measured = resonance();
    const std::optional<double> expected = calculated_hz();
    if (measured == nullptr || !expected) return std::nullopt;
    return 100.0 * (measured->frequency_hz - *expected) / *expected;
}

std::optional<double> MeasurementResult::calculated_hz() const {
    if (hookup == bench::Hookup::tank) {
        return calculated_tank ? std::optional(calculated_tank->frequency_hz) : std::nullopt;
    }
    return calculated ? std::optional(calculated->frequency_hz) : std::nullopt;
}

}  // namespace coldtune::measure
