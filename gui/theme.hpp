// The colours (analyzer/picture/theme.hpp) on the window's widgets.
#pragma once

#include "gui/picture.hpp"

namespace coldtune::gui {

// Puts the theme's colours and our spacing (for `scale` times the ordinary size) on Dear ImGui's widgets.
void apply_to_widgets(const Theme& theme, float scale);

}  // namespace coldtune::gui
