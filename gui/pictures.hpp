// What the wiring picture calls things: the names the user gave them.
#pragma once

#include "gui/picture.hpp"
#include "gui/state.hpp"

namespace coldtune::gui {

WiringNames wiring_names(const BenchForm& bench);
// The coil in it as it stands on the bench.
WiringStands wiring_stands(const State& state);

}  // namespace coldtune::gui
