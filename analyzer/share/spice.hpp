// The equivalent circuit as a netlist that a SPICE reads (the common core of the Berkeley syntax; run with ngspice in
// the tests).
#pragma once

#include <span>
#include <string>

#include "analyzer/share/equivalent.hpp"

namespace coldtune::share {

// A complete deck: comments, a .subckt to be taken into other circuits, and an analysis that drives it with one volt,
// so that the current drawn is its admittance in siemens. Full digits, any locale.
std::string spice_text(const Equivalent& equivalent, std::span<const std::string> comments);

}  // namespace coldtune::share
