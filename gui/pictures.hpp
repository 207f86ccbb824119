// What the wiring picture calls things: the names the user gave them.
#pragma once

#include "gui/picture.hpp"
#include "gui/state.hpp"

namespace coldtune::gui {

WiringNames wiring_names(const BenchForm& bench);

}  // namespace coldtune::gui
