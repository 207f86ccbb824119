// Meridian curves of bodies of revolution, cut to strips that carry charge.
//
// A strip is a piece of a meridian: a straight line (its surface is a cone, a cylinder or a flat ring) or a circular
// arc (part of a sphere or a torus, kept as an exact arc, not a polygon). Along it runs u from 0 to 1. The charge
// carried per du is  sum_k c_k P_k(2u - 1) r(u)/mean_radius  with P_k the Legendre polynomials up to `degree`. Where
// the surface ends in a sharp edge the density grows like distance^-1/2, at a right-angled outer corner like
// distance^-1/3 (a two-dimensional wedge; J. D. Jackson, Classical Electrodynamics, section 2.11; from memory): there
// the position is taken as distance ~ u^2 or u^(3/2), so that the charge per du is smooth and a low degree is accurate.
#pragma once

#include <cstddef>
#include <vector>

namespace coldtune::model {

struct MeridianPoint {
    double r = 0;
    double z = 0;
};

// What the surface does at an end of a strip: goes on, turns a right-angled outer corner, or stops.
enum class StripEnd { smooth, corner, edge };

inline constexpr int kMaxStripDegree = 7;

struct Strip {
    // Straight: from (r, z) by (dr, dz). Arc (arc_radius > 0): centre (r, z), from angle0 by sweep, angles from the +r
    // direction towards +z.
    double r = 0;
    double z = 0;
    double dr = 0;
    double dz = 0;
    double arc_radius = 0;
    double angle0 = 0;
    double sweep = 0;

    double exponent = 1;           // of u in the distance from the singular end: 1, 3/2 or 2
    bool singular_at_end = false;  // that end is u = 1
    int degree = 1;                // 0 to kMaxStripDegree
    double mean_radius = 0;        // integral of r du
    double speed = 0;              // largest distance moved per u

    // Fraction of the strip's own length reached at u.
    [[nodiscard]] double fraction(double u) const;
    [[nodiscard]] MeridianPoint at(double u) const;
};

// At most one of the two ends may be other than smooth.
Strip line_strip(MeridianPoint from, MeridianPoint to, int degree, StripEnd start = StripEnd::smooth,
                 StripEnd end = StripEnd::smooth);
Strip arc_strip(MeridianPoint centre, double radius, double angle0, double sweep, int degree);

// How finely a body is cut: `pieces` strips of `degree` along each smooth stretch of its meridian.
struct Fineness {
    std::size_t pieces = 4;
    int degree = 3;
};

// A straight stretch; pieces are refined geometrically (each half of the next) towards an end that is not smooth.
// `pieces` must be at least 2 when both ends are singular.
std::vector<Strip> straight_meridian(MeridianPoint from, MeridianPoint to, Fineness fineness, StripEnd start,
                                     StripEnd end);
// Bodies about the axis; sizes are diameters in metres, z the centre's height.
std::vector<Strip> toroid_meridian(double outer_diameter_m, double tube_diameter_m, double z, Fineness fineness);
std::vector<Strip> sphere_meridian(double diameter_m, double z, Fineness fineness);
std::vector<Strip> disc_meridian(double diameter_m, double z, Fineness fineness);
// Open tube and solid cylinder between two heights.
std::vector<Strip> tube_meridian(double diameter_m, double z_low, double z_high, Fineness fineness);
std::vector<Strip> cylinder_meridian(double diameter_m, double z_low, double z_high, Fineness fineness);

}  // namespace coldtune::model
