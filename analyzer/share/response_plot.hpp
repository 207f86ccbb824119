// The measurement over the calculated curve, as the window shows it, drawn for a page.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/result.hpp"
#include "analyzer/picture/canvas.hpp"
#include "analyzer/picture/plot_scene.hpp"
#include "dsp/capture.hpp"

namespace coldtune::share {

struct NamedCurve {
    std::string name;
    measure::Curve curve;
};

struct ResponsePlot {
    bench::Hookup hookup = bench::Hookup::foot;  // foot: admittance; everything else: impedance; magnitude and phase
    std::vector<NamedCurve> measured;            // each with its 95 % band where it has standard deviations
    std::vector<NamedCurve> others;              // from elsewhere, thin lines
    std::optional<measure::Curve> fitted, calculated;
    std::optional<measure::Resonance> resonance;        // marked, with its interval
    std::vector<measure::Pair::Peak> peaks;             // of secondary and tank together, marked likewise
    std::size_t marked = 0;                             // which of `measured` they belong to
    std::optional<model::Calculated> calculated_value;  // marked, dashed
    std::optional<dsp::Band> band;  // of frequencies to show; nullopt: the measured ones and the marks
};

// A result by itself: its curve, its fit, its marks. The secondary's calculated value is marked where the head is free.
ResponsePlot plot_of(const measure::MeasurementResult& result, std::string name);

// The calculated curve over what the plot shows. The description must have passed check_geometry (read_coil does that).
Status add_calculated(ResponsePlot& plot, const model::CoilDescription& coil);

// Frequency axis logarithmic, light colours. Nothing is drawn but a sentence where there is no curve.
void draw_response(picture::Canvas& canvas, picture::Rect area, const ResponsePlot& plot);

// SVG 1.1, 1200 by 760.
std::string response_svg(const ResponsePlot& plot, std::string_view title);

}  // namespace coldtune::share
