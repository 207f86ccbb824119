#include "analyzer/model/coil_conductors.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <variant>

namespace coldtune::model {
namespace {

// Enough for the capacitance of each body to be within 1e-5 of its limit beside a coil (tests/analyzer).
constexpr Fineness kToroidFineness{6, 3};
constexpr Fineness kSphereFineness{4, 3};
constexpr Fineness kDiscFineness{4, 3};
constexpr int kWindingDegree = 1;
constexpr int kWindingEndDegree = 3;

struct Extent {
    double top = 0;
    double bottom = 0;
    double radius = 0;

    void include(double r, double low, double high) {
        top = std::max(top, high);
        bottom = std::min(bottom, low);
        radius = std::max(radius, r);
    }
};

void add_winding(ConductorSet& set, const Winding& winding, std::size_t sections) {
    const double r = 0.5 * winding.diameter_m;
    const auto height = [&](std::size_t node) {
        return winding.base_height_m + winding.length_m * static_cast<double>(node) / static_cast<double>(sections);
    };
    for (std::size_t k = 0; k < sections; ++k) {
        // One strip holds one singular end: a single section is left without.
        const bool first = k == 0 && sections > 1;
        const bool last = k + 1 == sections && sections > 1;
        const int degree = first || last ? kWindingEndDegree : kWindingDegree;
        const Strip strip =
            line_strip({r, height(k)}, {r, height(k + 1)}, sections > 1 ? degree : kMaxStripDegree,
                       first ? StripEnd::edge : StripEnd::smooth, last ? StripEnd::edge : StripEnd::smooth);
        set.strips.push_back({strip, static_cast<int>(k), static_cast<int>(k) + 1, false});
    }
    if (sections > 2) {
        set.uniform_first = 1;
        set.uniform_last = sections - 1;
    }
}

void add_body(ConductorSet& set, const TopLoadBody& body, double winding_end, int node, Extent& extent) {
    if (const auto* toroid = std::get_if<Toroid>(&body)) {
        const double z = winding_end + toroid->height_m;
        const double half = 0.5 * toroid->tube_diameter_m;
        append_conductor(set, toroid_meridian(toroid->outer_diameter_m, toroid->tube_diameter_m, z, kToroidFineness),
                         node, true);
        extent.include(0.5 * toroid->outer_diameter_m, z - half, z + half);
    } else if (const auto* sphere = std::get_if<Sphere>(&body)) {
        const double z = winding_end + sphere->height_m;
        const double half = 0.5 * sphere->diameter_m;
        append_conductor(set, sphere_meridian(sphere->diameter_m, z, kSphereFineness), node, true);
        extent.include(half, z - half, z + half);
    } else if (const auto* disc = std::get_if<Disc>(&body)) {
        const double z = winding_end + disc->height_m;
        append_conductor(set, disc_meridian(disc->diameter_m, z, kDiscFineness), node, true);
        extent.include(0.5 * disc->diameter_m, z, z);
    }
}

// The cone through the wire centres, as long as the turns it carries.
void add_primary(ConductorSet& set, const Primary& primary) {
    // Along the slope from the outer edge of the first turn's conductor to that of the last: what check_geometry keeps
    // clear.
    const double before = 0.5 * primary.conductor_diameter_m;
    const double slope = (std::ceil(primary.turns) - 1.0) * primary.pitch_m + before;
    const double angle = primary.angle_deg * std::numbers::pi / 180.0;
    const double r = 0.5 * primary.inner_diameter_m;
    const auto along = [&](double s) {
        return MeridianPoint{r + s * std::cos(angle), primary.base_height_m + s * std::sin(angle)};
    };
    const MeridianPoint start = along(-before);
    const MeridianPoint end = along(slope);
    append_conductor(set, straight_meridian(start, end, {6, 2}, StripEnd::edge, StripEnd::edge), -1);
}

void add_walls(ConductorSet& set, const Surroundings& around, const Extent& extent) {
    if (!around.wall_radius_m) {
        set.ceiling_height_m = around.ceiling_height_m;
        return;
    }
    const double radius = *around.wall_radius_m;
    const double low = around.ground ? 0.0 : extent.bottom - 3.0 * radius;
    const double high = around.ceiling_height_m.value_or(extent.top + 3.0 * radius);
    const double gap = std::max(radius - extent.radius, 0.02 * radius);
    const auto pieces = static_cast<std::size_t>(std::clamp(std::ceil((high - low) / (0.7 * gap)), 6.0, 28.0));
    append_conductor(
        set, straight_meridian({radius, low}, {radius, high}, {pieces, 2}, StripEnd::smooth, StripEnd::smooth), -1);
    if (around.ceiling_height_m) {
        append_conductor(
            set, straight_meridian({0.0, high}, {radius, high}, {6, 2}, StripEnd::smooth, StripEnd::smooth), -1);
    }
}

}  // namespace

ConductorSet coil_conductors(const CoilDescription& coil, std::size_t sections, int extra_degree) {
    ConductorSet set;
    set.nodes = sections + 1;
    set.ground = coil.surroundings.ground;
    add_winding(set, coil.secondary, sections);
    const double base = coil.secondary.base_height_m;
    const double end = base + coil.secondary.length_m;
    Extent extent{end, base, 0.5 * coil.secondary.diameter_m};
    for (const TopLoadBody& body : coil.topload) add_body(set, body, end, static_cast<int>(sections), extent);
    if (coil.surroundings.strike_ring) {
        const auto& ring = *coil.surroundings.strike_ring;
        append_conductor(
            set, toroid_meridian(ring.diameter_m + ring.tube_diameter_m, ring.tube_diameter_m, ring.height_m, {4, 2}),
            -1);
    }
    if (coil.primary) add_primary(set, *coil.primary);
    add_walls(set, coil.surroundings, extent);
    for (ChargedStrip& charged : set.strips) {
        charged.strip.degree = std::min(charged.strip.degree + extra_degree, kMaxStripDegree);
    }
    return set;
}

}  // namespace coldtune::model
