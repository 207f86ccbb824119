// A coil description as the conductors of the capacitance problem.
#pragma once

#include <cstddef>

#include "analyzer/model/capacitance.hpp"
#include "analyzer/model/geometry.hpp"

namespace coldtune::model {

// The winding as one thin tube of the wire-centre diameter, cut into `sections`; nodes 0 (foot) to `sections` (head).
// Potential runs linearly from node to node, charge per section is linear too (and takes the edge's inverse square root
// in the two end sections); the charge belonging to a node is the charge weighted with the hat function of its
// potential. Top load at the head node, its strips counted. Grounded: strike ring (diameter of its centre line),
// primary (as the cone of its wire centres: neighbouring turns are at one potential and closer to each other than to
// the coil), wall, and the ceiling plane. A wall without ceiling ends three wall radii beyond the coil, where the field
// inside a grounded tube has fallen by exp(-2.405 * 3), below 1e-3.
// Not modelled: the form, enamel, and fields between neighbouring turns at different potential.
//
// `extra_degree` (0 to 4) raises the degree of the charge on every strip: what it moves is the error left in the
// charge.
ConductorSet coil_conductors(const CoilDescription& coil, std::size_t sections, int extra_degree = 0);

}  // namespace coldtune::model
