#include "analyzer/model/primary.hpp"

#include <algorithm>
#include <boost/math/quadrature/gauss.hpp>
#include <cmath>
#include <numbers>

#include "analyzer/model/inductance.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;

// A turn, or at the tap the part of one: `share` of a full ring. A part turn is the beginning of its turn, so its mean
// place lies nearer to the inner end than that of the whole turn, by `nearer_m` in radius and `lower_m` in height.
struct Ring {
    double radius_m = 0;
    double height_m = 0;
    double share = 1;
    double nearer_m = 0, lower_m = 0;
};

double radians(double degrees) {
    return degrees * pi / 180;
}

std::vector<Ring> rings_up_to(const Primary& primary, double tap_turns) {
    const double radial_pitch = primary.pitch_m * std::cos(radians(primary.angle_deg));
    const double axial_pitch = primary.pitch_m * std::sin(radians(primary.angle_deg));
    std::vector<Ring> rings;
    for (double i = 0; i < tap_turns; i += 1) {
        const double share = std::min(1.0, tap_turns - i);
        // A spiral whose pitch is as large as its first turn does not begin beyond the axis.
        const double nearer = std::min(0.5 * (1 - share) * radial_pitch, 0.25 * primary.inner_diameter_m);
        const double lower = 0.5 * (1 - share) * axial_pitch;
        rings.push_back({primary.inner_diameter_m / 2 + i * radial_pitch - nearer,
                         primary.base_height_m + i * axial_pitch - lower, share, nearer, lower});
    }
    return rings;
}

// Neumann's integral of an arc with its parallel at the offset g (relative to the radius) that stands for the
// conductor's thickness: 2 int_0^theta (theta - u) cos u / sqrt(4 sin^2(u/2) + g^2) du. Its peaks, at u = 0 and again
// where a full turn meets itself, are taken out by u = g sinh t from either side.
double arc_integral(double theta, double offset) {
    const auto from_peak = [offset](double start, double end, auto weight) {
        const auto integrand = [&](double t) {
            const double u = offset * std::sinh(t);
            const double half_sine = std::sin(u / 2);
            return weight(u) * std::cos(u) / std::sqrt(4 * half_sine * half_sine + offset * offset) * offset *
                   std::cosh(t);
        };
        return boost::math::quadrature::gauss<double, 30>::integrate(integrand, std::asinh(start / offset),
                                                                     std::asinh(end / offset));
    };
    double sum = from_peak(0, std::min(theta, pi), [&](double u) { return theta - u; });
    if (theta > pi) {
        const double missing = 2 * pi - theta;
        sum += from_peak(missing, pi, [&](double u) { return u - missing; });
    }
    return 2 * sum;
}

double wire_offset(double wire_radius_m, ConductorCurrent current) {
    return current == ConductorCurrent::skin ? wire_radius_m : wire_radius_m * std::exp(-0.25);
}

// A part turn: the ring's inductance in the ratio of the two arc integrals, so that it grows into the full ring.
double arc_self_inductance_h(const Ring& ring, double wire_radius_m, ConductorCurrent current) {
    const double whole = ring_self_inductance_h(ring.radius_m, wire_radius_m, current);
    if (ring.share >= 1) return whole;
    const double offset = wire_offset(wire_radius_m, current) / ring.radius_m;
    return whole * arc_integral(2 * pi * ring.share, offset) / arc_integral(2 * pi, offset);
}

// What ring `index` adds to the inductance of those before it.
double added_inductance_h(const std::vector<Ring>& rings, std::size_t index, double wire_radius_m,
                          ConductorCurrent current) {
    const Ring& ring = rings[index];
    // A part turn is linked most with what lies right beside it, the beginnings of the other turns: those are as much
    // nearer to the inner end, and the distance between the two stays a whole number of pitches. Against the wire's own
    // path (Neumann's integral) half turns of a flat spiral then agree to 0.1 % instead of 0.6 %.
    double mutual = 0;
    for (std::size_t i = 0; i < index; ++i) {
        mutual += coaxial_rings_mutual_h(rings[i].radius_m - ring.nearer_m, ring.radius_m,
                                         ring.height_m - (rings[i].height_m - ring.lower_m));
    }
    // An arc is linked with a full coaxial ring by its share of the circle, exactly.
    return arc_self_inductance_h(ring, wire_radius_m, current) + 2 * ring.share * mutual;
}

double radius_at(const Primary& primary, double turn) {
    // Half a turn back: the mean radius of the turn from i to i + 1 is then that of ring i.
    return primary.inner_diameter_m / 2 + (turn - 0.5) * primary.pitch_m * std::cos(radians(primary.angle_deg));
}

}  // namespace

double ring_self_inductance_h(double ring_radius_m, double wire_radius_m, ConductorCurrent current) {
    const double offset = wire_offset(wire_radius_m, current);
    return kVacuumPermeability * ring_radius_m * (std::log(8 * ring_radius_m / offset) - 2);
}

double primary_inductance_h(const Primary& primary, double tap_turns, ConductorCurrent current) {
    const std::vector<Ring> rings = rings_up_to(primary, tap_turns);
    double sum = 0;
    for (std::size_t i = 0; i < rings.size(); ++i) {
        sum += added_inductance_h(rings, i, primary.conductor_diameter_m / 2, current);
    }
    return sum;
}

double primary_conductor_length_m(const Primary& primary, double tap_turns) {
    const auto speed = [&](double turn) { return std::hypot(2 * pi * radius_at(primary, turn), primary.pitch_m); };
    // One piece a turn: within it the radius moves by at most a pitch and seven points are exact to rounding.
    double sum = 0;
    for (double turn = 0; turn < tap_turns; turn += 1) {
        sum += boost::math::quadrature::gauss<double, 7>::integrate(speed, turn, std::min(turn + 1, tap_turns));
    }
    return sum;
}

std::vector<TapPoint> primary_taps(const Primary& primary, double step_turns, ConductorCurrent current) {
    const double wire_radius = primary.conductor_diameter_m / 2;
    // Whole turns once, then each tap adds its part turn.
    const std::vector<Ring> rings = rings_up_to(primary, primary.turns);
    std::vector<double> whole_turns{0};
    for (std::size_t i = 0; i < rings.size(); ++i) {
        whole_turns.push_back(whole_turns.back() + added_inductance_h(rings, i, wire_radius, current));
    }
    const auto point = [&](double tap) {
        const std::vector<Ring> up_to = rings_up_to(primary, tap);
        const std::size_t last = up_to.size() - 1;
        return TapPoint{tap, whole_turns[last] + added_inductance_h(up_to, last, wire_radius, current),
                        primary_conductor_length_m(primary, tap)};
    };
    std::vector<TapPoint> points;
    for (double i = 1;; i += 1) {
        const double tap = i * step_turns;
        if (tap >= primary.turns * (1 - 1e-9)) break;
        points.push_back(point(tap));
    }
    points.push_back(point(primary.turns));
    return points;
}

Eigen::VectorXd primary_section_mutual_h(const Primary& primary, double tap_turns, const Winding& secondary,
                                         std::size_t sections) {
    const std::vector<Ring> rings = rings_up_to(primary, tap_turns);
    const double length = secondary.length_m / static_cast<double>(sections);
    const double turns = secondary.turns / static_cast<double>(sections);
    Eigen::VectorXd mutual = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(sections));
    for (Eigen::Index section = 0; section < mutual.size(); ++section) {
        const double bottom = secondary.base_height_m + length * static_cast<double>(section);
        for (const Ring& ring : rings) {
            mutual(section) += ring.share * ring_sheet_mutual_h(ring.radius_m, ring.height_m, secondary.diameter_m / 2,
                                                                bottom, bottom + length, turns);
        }
    }
    return mutual;
}

double primary_mutual_h(const Primary& primary, double tap_turns, const Winding& secondary) {
    return primary_section_mutual_h(primary, tap_turns, secondary, 1).sum();
}

double primary_coupling(const Primary& primary, double tap_turns, const Winding& secondary) {
    return primary_mutual_h(primary, tap_turns, secondary) /
           std::sqrt(primary_inductance_h(primary, tap_turns) * winding_inductance_h(secondary));
}

std::vector<CouplingPoint> coupling_against_height(const Primary& primary, double tap_turns, const Winding& secondary,
                                                   std::span<const double> secondary_base_heights_m) {
    const double product = primary_inductance_h(primary, tap_turns) * winding_inductance_h(secondary);
    std::vector<CouplingPoint> points;
    Winding moved = secondary;
    for (const double height : secondary_base_heights_m) {
        moved.base_height_m = height;
        const double mutual = primary_mutual_h(primary, tap_turns, moved);
        points.push_back({height, mutual, mutual / std::sqrt(product)});
    }
    return points;
}

}  // namespace coldtune::model
