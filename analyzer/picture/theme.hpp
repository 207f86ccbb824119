// Colours of our own, light and dark, chosen so that people with any of the three kinds of colour blindness can tell
// the curves apart (a test simulates it) and every curve stands out from the ground by a contrast of 3:1 or more.
#pragma once

#include <array>
#include <cstddef>

#include "analyzer/picture/canvas.hpp"

namespace coldtune::picture {

// How a line is drawn, where colours alone are too few.
enum class Pattern { solid, dashed, long_dashed };
inline constexpr std::size_t kPatterns = 3;

struct Theme {
    bool dark = false;
    Color ground;  // behind everything
    Color panel;   // fields and plots
    Color raised;  // buttons, hovered rows
    Color pressed;
    Color ink;        // text
    Color soft_ink;   // explanations, axis labels; still 4.5:1 on the ground
    Color rule;       // hairlines, grid
    Color accent;     // what to do next, the selected step
    Color on_accent;  // text on it
    Color good, caution, rejected;
    Color copper;              // the winding in pictures
    Color metal;               // top load, ground
    Color calculated;          // everything that was calculated and not measured
    std::array<Color, 5> run;  // measured runs, in order, then again from the first in another pattern
    [[nodiscard]] Color run_color(std::size_t index) const { return run[index % run.size()]; }
    // With the colour it tells fifteen runs apart.
    [[nodiscard]] Pattern run_pattern(std::size_t index) const {
        return static_cast<Pattern>(index / run.size() % kPatterns);
    }
};

const Theme& light_theme();
const Theme& dark_theme();
inline const Theme& theme_for(bool dark) {
    return dark ? dark_theme() : light_theme();
}

}  // namespace coldtune::picture
