// Secondary, target and tank on one frequency axis.
#pragma once

#include <string>

#include "gui/picture.hpp"
#include "gui/theme.hpp"

namespace coldtune::gui {

struct TuningAxis {
    // A frequency with its 95 % half-width, hertz, and how it is written out.
    struct Mark {
        double frequency_hz = 0, half_width_hz = 0;
        std::string figure;
    };
    Mark secondary, target, tank;
    double tuned_window = 0;  // relative: within this of the target the tank is called tuned
    double allowance = 0;     // relative, from the secondary down to the target
};

void draw_tuning_axis(Canvas& canvas, Rect area, const TuningAxis& axis, const Theme& theme, float scale);

}  // namespace coldtune::gui
