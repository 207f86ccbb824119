// The primary by sums over circular filaments: inductance at any tap, mutual inductance with the secondary, coupling.
//
// A primary is a helix on a cone (see Primary): turn i = 0, 1, .. stands for a ring of radius
// inner_diameter/2 + i pitch cos(angle) at height base_height + i pitch sin(angle). A tap is counted in turns from the
// inner end, fractions allowed, in 0 < tap <= turns; the part turn at the tap is an arc of the next ring. What the
// leads and the closing of an open turn add is not in here (Tank::lead_inductance_h). SI units. No conductor nearby is
// modelled: the secondary, a strike ring or the ground shift the inductance by the square of their coupling.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <span>
#include <vector>

#include "analyzer/model/geometry.hpp"

namespace coldtune::model {

// How the current fills the conductor: on its skin (copper tube or thick wire above a few kilohertz, the default) or
// evenly over its section (direct current). It moves one ring's inductance by mu0 R / 4.
enum class ConductorCurrent { skin, uniform };

// Self-inductance of a ring of round wire, henry: mu0 R (ln(8R/a) - 2) with the current on the skin, - 7/4 with it
// spread evenly. Thin-wire formula: error of the order (a/R)^2 ln(R/a).
double ring_self_inductance_h(double ring_radius_m, double wire_radius_m,
                              ConductorCurrent current = ConductorCurrent::skin);

// Inductance from the inner end to a tap, henry. Continuous and increasing in the tap.
double primary_inductance_h(const Primary& primary, double tap_turns,
                            ConductorCurrent current = ConductorCurrent::skin);

// Length along the conductor from the inner end to a tap, metres: where to put the clip.
double primary_conductor_length_m(const Primary& primary, double tap_turns);

struct TapPoint {
    double turns = 0;
    double inductance_h = 0;
    double conductor_length_m = 0;
};

// The tap table: every `step_turns` (> 0) from the first step to the last turn, the last turn always included.
std::vector<TapPoint> primary_taps(const Primary& primary, double step_turns,
                                   ConductorCurrent current = ConductorCurrent::skin);

// Mutual inductance of the primary up to a tap with each of `sections` equal parts of the secondary, foot first, henry.
// The conductors may not touch (check_geometry).
Eigen::VectorXd primary_section_mutual_h(const Primary& primary, double tap_turns, const Winding& secondary,
                                         std::size_t sections);

// With the whole secondary, uniform current along it.
double primary_mutual_h(const Primary& primary, double tap_turns, const Winding& secondary);

// Coupling k = M / sqrt(L1 L2) with uniform currents, L1 the primary up to the tap without leads.
double primary_coupling(const Primary& primary, double tap_turns, const Winding& secondary);

struct CouplingPoint {
    double secondary_base_height_m = 0;
    double mutual_h = 0;
    double coupling = 0;
};

// The same with the secondary moved to each of these heights, everything else as it is.
std::vector<CouplingPoint> coupling_against_height(const Primary& primary, double tap_turns, const Winding& secondary,
                                                   std::span<const double> secondary_base_heights_m);

}  // namespace coldtune::model
