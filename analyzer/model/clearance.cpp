#include "analyzer/model/clearance.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <variant>

namespace coldtune::model {
namespace {

Outline tube_section(double ring_radius_m, double height_m, double tube_radius_m) {
    return {ring_radius_m, ring_radius_m, height_m, height_m, tube_radius_m};
}

struct AtHeight {
    double winding_end_m = 0;

    Outline operator()(const Toroid& toroid) const {
        return tube_section((toroid.outer_diameter_m - toroid.tube_diameter_m) / 2, winding_end_m + toroid.height_m,
                            toroid.tube_diameter_m / 2);
    }
    Outline operator()(const Sphere& sphere) const {
        return tube_section(0, winding_end_m + sphere.height_m, sphere.diameter_m / 2);
    }
    Outline operator()(const Disc& disc) const {
        const double height = winding_end_m + disc.height_m;
        return {0, disc.diameter_m / 2, height, height, 0};
    }
};

}  // namespace

double gap_m(const Outline& a, const Outline& b) {
    const double across = std::max({a.r_low_m - b.r_high_m, b.r_low_m - a.r_high_m, 0.0});
    const double along = std::max({a.z_low_m - b.z_high_m, b.z_low_m - a.z_high_m, 0.0});
    // Boxes that overlap although neither is rounded (a thin disc through the winding) are in contact, not at distance
    // zero; the depth is the shorter way out.
    if (across == 0 && along == 0) {
        const double out_across = std::min(a.r_high_m - b.r_low_m, b.r_high_m - a.r_low_m);
        const double out_along = std::min(a.z_high_m - b.z_low_m, b.z_high_m - a.z_low_m);
        return -std::min(out_across, out_along) - a.rounding_m - b.rounding_m;
    }
    return std::hypot(across, along) - a.rounding_m - b.rounding_m;
}

Outline outline_of(const Winding& winding) {
    const double radius = winding.diameter_m / 2;
    const double half_wire = winding.overall_wire_diameter_m.value_or(winding.wire_diameter_m) / 2;
    return {radius - half_wire, radius + half_wire, winding.base_height_m, winding.base_height_m + winding.length_m, 0};
}

Outline outline_of(const TopLoadBody& body, double winding_end_m) {
    return std::visit(AtHeight{winding_end_m}, body);
}

Outline outline_of(const Surroundings::StrikeRing& ring) {
    return tube_section((ring.diameter_m - ring.tube_diameter_m) / 2, ring.height_m, ring.tube_diameter_m / 2);
}

Outline outline_of_turn(const Primary& primary, double index) {
    const double slope = primary.angle_deg * std::numbers::pi / 180;
    return tube_section(primary.inner_diameter_m / 2 + index * primary.pitch_m * std::cos(slope),
                        primary.base_height_m + index * primary.pitch_m * std::sin(slope),
                        primary.conductor_diameter_m / 2);
}

}  // namespace coldtune::model
