// What a plot says in words: frequencies, differences, and the marks of a resonance.
#pragma once

#include <string>

#include "analyzer/measure/result.hpp"
#include "analyzer/picture/plot_scene.hpp"

namespace coldtune::picture {

// "63.41 kHz", and with its 95 % half-width "63.410 +- 0.012 kHz" with a proper sign.
std::string hertz(double value, int digits = 4);
// A sample rate as it is spoken of: "192 kHz", "44.1 kHz".
std::string rate_words(double rate_hz);
std::string hertz_with(double value, double half_width);
// "3.1 % below calculated", "0.02 % above calculated".
std::string difference_words(double percent);

// The calculated frequency, the measured one (in this order) and the difference between them, as far as they are known;
// either may be null.
void add_marks(PlotScene& scene, const measure::Resonance* measured, const model::Calculated* calculated, Color color,
               const Theme& theme);

}  // namespace coldtune::picture
