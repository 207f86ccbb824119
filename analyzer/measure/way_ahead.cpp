#include "analyzer/measure/way_ahead.hpp"

#include <fmt/format.h>

#include "analyzer/measure/session.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {

WayAhead way_ahead(double calculated_hz, double calculated_u95_hz, double sample_rate_hz) {
    const double edge_hz = default_band(sample_rate_hz).high_hz;
    const auto hertz = [](double f) { return record::format_quantity(f, record::Unit::hertz, 3); };
    const std::string opening =
        fmt::format("Calculated {}; at {} this interface hears up to {}: ", hertz(calculated_hz), hertz(sample_rate_hz),
                    hertz(edge_hz));
    if (calculated_hz + calculated_u95_hz < edge_hz) {
        return {Way::in_band, opening + "the resonance can be swept directly."};
    }
    if (calculated_hz < 3 * edge_hz) {
        return {Way::below_band, opening +
                                     "the resonance lies above. Measure the open standard first: what is heard below "
                                     "tells where it is, less exactly than a direct sweep."};
    }
    return {Way::loading_series, opening +
                                     "the resonance lies far above. Connect known capacitors one after another from "
                                     "head to return, which pull it into the band."};
}

}  // namespace coldtune::measure
