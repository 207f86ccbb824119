// The handbook's second opinion: what printed formulas and tables say about the coil, beside the distributed model.
#pragma once

#include <span>

#include "analyzer/model/geometry.hpp"
#include "analyzer/model/secondary.hpp"

namespace coldtune::model {

// Self-capacitance of a single-layer coil, one end grounded, in farad per metre of diameter: Medhurst's H. R. G.
// Medhurst, Wireless Engineer 24, 35 and 80 (1947): his table, not the formula fitted to it (which leaves it by up to
// 7.7 %). Interpolated monotonically in the logarithm of length over diameter, exact at its nodes. The table runs from
// 0.1 to 50; below, H goes on as the power of its first two nodes, above, as the straight line of its last two.
double medhurst_f_per_m(double length_over_diameter);

// Capacitance of one body alone in free space, farad. Exact: sphere 2 pi eps0 d, thin disc 4 eps0 d, torus by the
// series of toroidal functions.
double isolated_capacitance_f(const Sphere& sphere);
double isolated_capacitance_f(const Disc& disc);
// Tube not thicker than half the overall diameter (its limit, the torus without a hole, included).
double isolated_capacitance_f(const Toroid& toroid);

// Sum over the bodies: for several in a stack an upper bound, since bodies close together shield one another.
double isolated_capacitance_f(std::span<const TopLoadBody> topload);

// Current sheet with Rosa's corrections, Medhurst's capacitance plus the isolated top load, and the frequency of the
// two as a lumped circuit. Knows neither ground height nor surroundings nor shielding between coil and top load; for
// tall coils it is several per cent off.
Handbook handbook_values(const CoilDescription& coil);

}  // namespace coldtune::model
