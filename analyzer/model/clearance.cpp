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

double distance_to_box(double r, double z, const Outline& box) {
    return std::hypot(std::max({box.r_low_m - r, r - box.r_high_m, 0.0}),
                      std::max({box.z_low_m - z, z - box.z_high_m, 0.0}));
}

double distance_to_line(double r, double z, const SlopingOutline& line) {
    const double dr = line.r_end_m - line.r_start_m;
    const double dz = line.z_end_m - line.z_start_m;
    const double squared = dr * dr + dz * dz;
    const double along =
        squared == 0 ? 0 : std::clamp(((r - line.r_start_m) * dr + (z - line.z_start_m) * dz) / squared, 0.0, 1.0);
    return std::hypot(r - line.r_start_m - along * dr, z - line.z_start_m - along * dz);
}

// Narrows the part [from, to] of the line that lies between two bounds of one coordinate; false when nothing is left.
bool narrow(double start, double step, double low, double high, double& from, double& to) {
    if (step == 0) return start >= low && start <= high;
    const double at_low = (low - start) / step;
    const double at_high = (high - start) / step;
    from = std::max(from, std::min(at_low, at_high));
    to = std::min(to, std::max(at_low, at_high));
    return from <= to;
}

bool crosses(const SlopingOutline& line, const Outline& box) {
    double from = 0;
    double to = 1;
    return narrow(line.r_start_m, line.r_end_m - line.r_start_m, box.r_low_m, box.r_high_m, from, to) &&
           narrow(line.z_start_m, line.z_end_m - line.z_start_m, box.z_low_m, box.z_high_m, from, to);
}

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
    return tube_section(ring.diameter_m / 2, ring.height_m, ring.tube_diameter_m / 2);
}

double SlopingOutline::outermost_m() const {
    return std::max(r_start_m, r_end_m) + rounding_m;
}

double SlopingOutline::lowest_m() const {
    return std::min(z_start_m, z_end_m) - rounding_m;
}

double SlopingOutline::highest_m() const {
    return std::max(z_start_m, z_end_m) + rounding_m;
}

SlopingOutline outline_of(const Primary& primary) {
    const double slope = primary.angle_deg * std::numbers::pi / 180;
    const double radius = primary.inner_diameter_m / 2;
    const double reach = (std::ceil(primary.turns) - 1) * primary.pitch_m;
    return {radius, primary.base_height_m, radius + reach * std::cos(slope),
            primary.base_height_m + reach * std::sin(slope), primary.conductor_diameter_m / 2};
}

double gap_m(const SlopingOutline& line, const Outline& outline) {
    const double rounding = line.rounding_m + outline.rounding_m;
    if (crosses(line, outline)) return -rounding;
    // Apart, the nearest points are an end of the line or a corner of the box.
    double nearest = std::min(distance_to_box(line.r_start_m, line.z_start_m, outline),
                              distance_to_box(line.r_end_m, line.z_end_m, outline));
    for (const double r : {outline.r_low_m, outline.r_high_m}) {
        for (const double z : {outline.z_low_m, outline.z_high_m}) {
            nearest = std::min(nearest, distance_to_line(r, z, line));
        }
    }
    return nearest - rounding;
}

}  // namespace coldtune::model
