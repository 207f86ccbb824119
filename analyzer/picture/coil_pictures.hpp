// Pictures drawn from what the user typed: the coil in cross-section, and how it is wired.
#pragma once

#include <string>

#include "analyzer/bench/hookup.hpp"
#include "analyzer/model/geometry.hpp"
#include "analyzer/picture/canvas.hpp"
#include "analyzer/picture/theme.hpp"

namespace coldtune::picture {

// The coil to scale, upright on its ground, with its dimensions. `scale` is the size of lines and text.
void draw_cross_section(Canvas& canvas, Rect area, const model::CoilDescription& coil, const Theme& theme, float scale);

// What names the user gave things, for the wiring picture.
struct WiringNames {
    std::string output, generator_input, coil_input;
    std::string reference;  // "10k"
    std::string load;
};
// How the coil stands in it, where that is not a matter of the hookup.
struct WiringStands {
    enum class Primary { not_shown, tank_closed, shorted };
    bool topload = true;
    Primary primary = Primary::not_shown;  // drawn beside the secondary
};
// The part of an area such a picture is drawn in: its middle, neither stretched nor squeezed.
Rect wiring_area(Rect area);
void draw_wiring(Canvas& canvas, Rect area, bench::Hookup hookup, const WiringNames& names, const Theme& theme,
                 float scale, const WiringStands& stands = {});

}  // namespace coldtune::picture
