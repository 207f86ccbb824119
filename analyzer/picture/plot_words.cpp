#include "analyzer/picture/plot_words.hpp"

#include <fmt/format.h>

#include <cmath>

#include "analyzer/record/quantity.hpp"

namespace coldtune::picture {

std::string hertz(double value, int digits) {
    return record::format_quantity(value, record::Unit::hertz, digits, true);
}
std::string rate_words(double rate_hz) {
    return fmt::format("{:g} kHz", rate_hz / 1000);
}
std::string hertz_with(double value, double half_width) {
    return record::format_with_uncertainty(value, half_width, record::Unit::hertz, true);
}

std::string difference_words(double percent) {
    const double size = std::abs(percent);
    const int decimals = size >= 10 ? 0 : size >= 1 ? 1 : 2;
    return fmt::format("{:.{}f} % {} calculated", size, decimals, percent < 0 ? "below" : "above");
}

void add_marks(PlotScene& scene, const measure::Resonance* measured, const model::Calculated* calculated, Color color,
               const Theme& theme) {
    if (calculated != nullptr) {
        scene.marks.push_back({calculated->frequency_hz, calculated->frequency_u95_hz,
                               "calculated " + hertz_with(calculated->frequency_hz, calculated->frequency_u95_hz),
                               theme.calculated, true});
    }
    if (measured == nullptr) return;
    scene.marks.push_back({measured->frequency_hz, measured->frequency_u95_hz,
                           "measured " + hertz_with(measured->frequency_hz, measured->frequency_u95_hz), color, false});
    if (calculated == nullptr) return;
    const double difference_hz = measured->frequency_hz - calculated->frequency_hz;
    scene.difference = fmt::format("{} ({})", difference_words(100 * difference_hz / calculated->frequency_hz),
                                   hertz(std::abs(difference_hz), 3));
}

}  // namespace coldtune::picture
