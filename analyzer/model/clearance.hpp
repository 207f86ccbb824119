// Do bodies of revolution run into one another? Their outlines in the half plane of radius and height.
#pragma once

#include "analyzer/model/geometry.hpp"

namespace coldtune::model {

// An upright box in that half plane with everything within `rounding` of it. A box may shrink to a line or a point:
// a tube's section is a point rounded by its radius, a sphere the same on the axis, a thin disc a level line.
struct Outline {
    double r_low_m = 0;
    double r_high_m = 0;
    double z_low_m = 0;
    double z_high_m = 0;
    double rounding_m = 0;

    [[nodiscard]] double outermost_m() const { return r_high_m + rounding_m; }
    [[nodiscard]] double lowest_m() const { return z_low_m - rounding_m; }
    [[nodiscard]] double highest_m() const { return z_high_m + rounding_m; }
};

// Smallest distance between two outlines, metres; negative when one reaches into the other (then a measure of how far,
// not an exact depth).
double gap_m(const Outline& a, const Outline& b);

// The winding as a shell one wire thick. A winding's length counts whole pitches, so its end wires do not stand out of
// it.
Outline outline_of(const Winding& winding);
// A top load above a winding that ends at `winding_end_m`.
Outline outline_of(const TopLoadBody& body, double winding_end_m);
Outline outline_of(const Surroundings::StrikeRing& ring);

// A line in that half plane, sloping or not, with everything within `rounding` of it: the surface a conical or flat
// spiral winds through, which fills it at one azimuth or another.
struct SlopingOutline {
    double r_start_m = 0;
    double z_start_m = 0;
    double r_end_m = 0;
    double z_end_m = 0;
    double rounding_m = 0;

    [[nodiscard]] double outermost_m() const;
    [[nodiscard]] double lowest_m() const;
    [[nodiscard]] double highest_m() const;
};

// From the centre of the first turn to that of the last, rounded by the conductor.
SlopingOutline outline_of(const Primary& primary);

double gap_m(const SlopingOutline& line, const Outline& outline);

}  // namespace coldtune::model
