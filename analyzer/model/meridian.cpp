#include "analyzer/model/meridian.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace coldtune::model {
namespace {

double exponent_of(StripEnd end) {
    switch (end) {
        case StripEnd::edge:
            return 2.0;
        case StripEnd::corner:
            return 1.5;
        case StripEnd::smooth:
            break;
    }
    return 1.0;
}

// 1 - w^exponent is what is left of the strip seen from the singular end.
double power(double w, double exponent) {
    if (exponent == 2.0) return w * w;
    if (exponent == 1.5) return w * std::sqrt(w);
    return w;
}

}  // namespace

double Strip::fraction(double u) const {
    if (exponent == 1.0) return u;
    return singular_at_end ? 1.0 - power(1.0 - u, exponent) : power(u, exponent);
}

MeridianPoint Strip::at(double u) const {
    const double f = fraction(u);
    if (arc_radius > 0) {
        const double angle = angle0 + f * sweep;
        return {r + arc_radius * std::cos(angle), z + arc_radius * std::sin(angle)};
    }
    return {r + f * dr, z + f * dz};
}

Strip line_strip(MeridianPoint from, MeridianPoint to, int degree, StripEnd start, StripEnd end) {
    assert(start == StripEnd::smooth || end == StripEnd::smooth);
    Strip strip;
    strip.r = from.r;
    strip.z = from.z;
    strip.dr = to.r - from.r;
    strip.dz = to.z - from.z;
    strip.degree = degree;
    strip.singular_at_end = end != StripEnd::smooth;
    strip.exponent = exponent_of(strip.singular_at_end ? end : start);
    // Mean of u^e over 0..1 is 1/(e + 1).
    const double mean_fraction =
        strip.singular_at_end ? 1.0 - 1.0 / (strip.exponent + 1.0) : 1.0 / (strip.exponent + 1.0);
    strip.mean_radius = strip.r + mean_fraction * strip.dr;
    strip.speed = strip.exponent * std::hypot(strip.dr, strip.dz);
    return strip;
}

Strip arc_strip(MeridianPoint centre, double radius, double angle0, double sweep, int degree) {
    Strip strip;
    strip.r = centre.r;
    strip.z = centre.z;
    strip.arc_radius = radius;
    strip.angle0 = angle0;
    strip.sweep = sweep;
    strip.degree = degree;
    strip.mean_radius = centre.r + radius * (std::sin(angle0 + sweep) - std::sin(angle0)) / sweep;
    strip.speed = radius * std::abs(sweep);
    return strip;
}

std::vector<Strip> straight_meridian(MeridianPoint from, MeridianPoint to, Fineness fineness, StripEnd start,
                                     StripEnd end) {
    const std::size_t pieces = fineness.pieces;
    assert(pieces >= 1);
    // Relative lengths: doubling away from each singular end.
    std::vector<double> length(pieces, 1.0);
    for (std::size_t i = 0; i < pieces; ++i) {
        const auto from_start = static_cast<double>(i);
        const auto from_end = static_cast<double>(pieces - 1 - i);
        if (start != StripEnd::smooth && end != StripEnd::smooth) {
            length[i] = std::exp2(std::min(from_start, from_end));
        } else if (start != StripEnd::smooth) {
            length[i] = std::exp2(from_start);
        } else if (end != StripEnd::smooth) {
            length[i] = std::exp2(from_end);
        }
    }
    double total = 0;
    for (const double one : length) total += one;
    std::vector<Strip> strips;
    double done = 0;
    MeridianPoint last = from;
    for (std::size_t i = 0; i < pieces; ++i) {
        done += length[i];
        const double f = done / total;
        const MeridianPoint next =
            i + 1 == pieces ? to : MeridianPoint{from.r + f * (to.r - from.r), from.z + f * (to.z - from.z)};
        strips.push_back(line_strip(last, next, fineness.degree, i == 0 ? start : StripEnd::smooth,
                                    i + 1 == pieces ? end : StripEnd::smooth));
        last = next;
    }
    return strips;
}

std::vector<Strip> toroid_meridian(double outer_diameter_m, double tube_diameter_m, double z, Fineness fineness) {
    const double centre = 0.5 * (outer_diameter_m - tube_diameter_m);
    const double sweep = 2.0 * std::numbers::pi / static_cast<double>(fineness.pieces);
    std::vector<Strip> strips;
    for (std::size_t i = 0; i < fineness.pieces; ++i) {
        strips.push_back(
            arc_strip({centre, z}, 0.5 * tube_diameter_m, static_cast<double>(i) * sweep, sweep, fineness.degree));
    }
    return strips;
}

std::vector<Strip> sphere_meridian(double diameter_m, double z, Fineness fineness) {
    const double sweep = std::numbers::pi / static_cast<double>(fineness.pieces);
    std::vector<Strip> strips;
    for (std::size_t i = 0; i < fineness.pieces; ++i) {
        strips.push_back(arc_strip({0.0, z}, 0.5 * diameter_m, -0.5 * std::numbers::pi + static_cast<double>(i) * sweep,
                                   sweep, fineness.degree));
    }
    return strips;
}

std::vector<Strip> disc_meridian(double diameter_m, double z, Fineness fineness) {
    return straight_meridian({0.0, z}, {0.5 * diameter_m, z}, fineness, StripEnd::smooth, StripEnd::edge);
}

std::vector<Strip> tube_meridian(double diameter_m, double z_low, double z_high, Fineness fineness) {
    return straight_meridian({0.5 * diameter_m, z_low}, {0.5 * diameter_m, z_high}, fineness, StripEnd::edge,
                             StripEnd::edge);
}

std::vector<Strip> cylinder_meridian(double diameter_m, double z_low, double z_high, Fineness fineness) {
    const double a = 0.5 * diameter_m;
    std::vector<Strip> strips =
        straight_meridian({0.0, z_low}, {a, z_low}, fineness, StripEnd::smooth, StripEnd::corner);
    const Fineness side{2 * fineness.pieces, fineness.degree};
    for (const Strip& strip : straight_meridian({a, z_low}, {a, z_high}, side, StripEnd::corner, StripEnd::corner)) {
        strips.push_back(strip);
    }
    for (const Strip& strip :
         straight_meridian({a, z_high}, {0.0, z_high}, fineness, StripEnd::corner, StripEnd::smooth)) {
        strips.push_back(strip);
    }
    return strips;
}

}  // namespace coldtune::model
