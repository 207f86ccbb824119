// The window draws with the analyzer's own pictures, so that a plot, a cross-section or a wiring looks the same on the
// screen, in a file and in a report.
#pragma once

#include "analyzer/picture/axis.hpp"
#include "analyzer/picture/canvas.hpp"
#include "analyzer/picture/coil_pictures.hpp"
#include "analyzer/picture/plot_scene.hpp"
#include "analyzer/picture/plot_view.hpp"
#include "analyzer/picture/theme.hpp"

namespace coldtune::gui {

using namespace picture;

}  // namespace coldtune::gui
