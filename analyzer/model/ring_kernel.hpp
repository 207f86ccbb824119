// Potential of a uniformly charged ring.
#pragma once

#include <algorithm>
#include <cmath>

namespace coldtune::model {

// Potential at (r, z) of a coaxial ring through (ring_r, ring_z) that carries the total charge 4 pi eps0: 1/metre.
//
// The closed form is (2/pi) K(m) / rho_far with m = 1 - (rho_near/rho_far)^2, rho_far and rho_near the largest and the
// smallest distance from the point to the ring (e.g. J. D. Jackson, Classical Electrodynamics, section 3.3; from
// memory). By Gauss's K(m) = pi / (2 agm(1, sqrt(1 - m))) it is 1/agm(rho_far, rho_near), which has no cancellation
// next to the ring and needs no special case on the axis. Symmetric in its two points. On the ring
// itself it would be infinite; distances below the rounding of the coordinates (1e-16 of the size) count as that much,
// an error of a few per cent in a logarithm that graded rules weight by 1e-12 and less.
inline double ring_kernel(double r, double z, double ring_r, double ring_z) {
    const double dz2 = (z - ring_z) * (z - ring_z);
    const double sum = r + ring_r;
    const double difference = r - ring_r;
    double a = std::sqrt(sum * sum + dz2);
    double b = std::max(std::sqrt(difference * difference + dz2), 1e-16 * a);
    // The relative distance of the two means squares (over 8) at each step, so stopping at 1e-5 leaves 1e-11/16 in the
    // mean that is returned.
    while (a - b > 1e-5 * a) {
        const double mean = 0.5 * (a + b);
        b = std::sqrt(a * b);
        a = mean;
    }
    return 2.0 / (a + b);
}

}  // namespace coldtune::model
