#include "analyzer/model/geometry.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string_view>
#include <utility>

#include "analyzer/model/clearance.hpp"

namespace coldtune::model {
namespace {

// The first thing found wrong, or nothing.
using Complaint = std::optional<std::string>;

// What keeps two conductors at different potentials apart. Closer than this the fields between them are beyond any
// measurement of the geometry.
constexpr double kLeastGapM = 1e-4;
// Two conductors at the same potential may touch; this is rounding, not air.
constexpr double kTouchM = 1e-9;

std::string length_text(double metres) {
    if (std::abs(metres) < 1) return fmt::format("{:.4g} mm", metres * 1e3);
    return fmt::format("{:.4g} m", metres);
}

std::string plain_text(double value) {
    return fmt::format("{:.6g}", value);
}

template <typename Text>
Complaint outside(std::string_view key, double value, double low, double high, Text text) {
    // Written so that a NaN is outside.
    if (value >= low && value <= high) return std::nullopt;
    return fmt::format("{} is {}; it must lie between {} and {}", key, text(value), text(low), text(high));
}

Complaint bad_length(std::string_view key, double metres, double low, double high) {
    return outside(key, metres, low, high, length_text);
}

Complaint bad_number(std::string_view key, double value, double low, double high, std::string_view unit = "") {
    return outside(key, value, low, high, [unit](double number) {
        return unit.empty() ? plain_text(number) : plain_text(number) + ' ' + std::string(unit);
    });
}

template <typename... Complaints>
Complaint first_of(Complaints... complaints) {
    Complaint first;
    ((first ? void() : void(first = std::move(complaints))), ...);
    return first;
}

// Winding ------------------------------------------------------------------------------------------------------------

// In diameters: four times what any table of coils goes to.
constexpr double kLongestWinding = 200;
constexpr double kCloseWindingSlack = 0.02;
// Of a toroid, in overall diameters: strips that reach the axis have no ring of charge to integrate.
constexpr double kWidestTube = 0.4995;

Complaint winding_sizes(const Winding& w, bool ground) {
    const double overall = w.overall_wire_diameter_m.value_or(w.wire_diameter_m);
    return first_of(
        bad_length("secondary.diameter", w.diameter_m, 1e-3, 10), bad_length("secondary.length", w.length_m, 1e-3, 20),
        bad_number("secondary.turns", w.turns, 1, 100000), bad_length("secondary.wire", w.wire_diameter_m, 1e-5, 50e-3),
        bad_length("secondary.wire_overall", overall, 1e-5, 60e-3),
        bad_length("secondary.base_height", w.base_height_m, ground ? 0 : -100, 100),
        bad_number("secondary.temperature", w.temperature_c, -100, 250, "degrees Celsius"));
}

Complaint winding_fits(const Winding& w) {
    const double pitch = w.length_m / w.turns;
    const double overall = w.overall_wire_diameter_m.value_or(w.wire_diameter_m);
    if (overall < w.wire_diameter_m) {
        return fmt::format(
            "secondary.wire_overall is {}, thinner than the bare wire ({}) inside it; give the diameter over "
            "the enamel",
            length_text(overall), length_text(w.wire_diameter_m));
    }
    if (overall > w.diameter_m / 2) {
        return fmt::format("secondary.wire is {} thick, more than half of secondary.diameter ({}); check both units",
                           length_text(overall), length_text(w.diameter_m));
    }
    if (w.length_m > kLongestWinding * w.diameter_m) {
        return fmt::format(
            "secondary.length is {}, more than {:.0f} times secondary.diameter ({}): that is a wire and not a coil; "
            "check "
            "both units",
            length_text(w.length_m), kLongestWinding, length_text(w.diameter_m));
    }
    if (pitch > w.diameter_m) {
        return fmt::format(
            "secondary.turns lie {} apart, farther than secondary.diameter ({}): that is a wire and not a winding; "
            "check length, turns and diameter",
            length_text(pitch), length_text(w.diameter_m));
    }
    // A close winding is described with a length, a wire and turns that are each good to a per cent: together they may
    // ask for a little more room than there is.
    if (overall <= pitch * (1 + kCloseWindingSlack)) return std::nullopt;
    const std::string needed = fmt::format("{:.6g} turns side by side need {}, secondary.length is {}", w.turns,
                                           length_text(w.turns * overall), length_text(w.length_m));
    if (w.wire_diameter_m > pitch * (1 + kCloseWindingSlack)) {
        return fmt::format(
            "secondary.wire is {}, thicker than the pitch of {} that secondary.length and secondary.turns "
            "leave: {}; lengthen the winding, take fewer turns or thinner wire",
            length_text(w.wire_diameter_m), length_text(pitch), needed);
    }
    return fmt::format(
        "secondary.turns do not fit with wire {} over the enamel (secondary.wire_overall): {}; lengthen the "
        "winding or take fewer turns",
        length_text(overall), needed);
}

// Top load -----------------------------------------------------------------------------------------------------------

std::string body_key(const CoilDescription& coil, std::size_t index) {
    return coil.topload.size() == 1 ? "topload" : fmt::format("topload[{}]", index);
}

std::string_view shape_name(const TopLoadBody& body) {
    static constexpr std::string_view names[] = {"toroid", "sphere", "disc"};
    return names[body.index()];
}

struct BodySizes {
    const std::string& key;

    Complaint operator()(const Toroid& t) const {
        if (auto bad = first_of(diameter("outer_diameter", t.outer_diameter_m),
                                diameter("tube_diameter", t.tube_diameter_m), height(t.height_m))) {
            return bad;
        }
        if (t.tube_diameter_m <= kWidestTube * t.outer_diameter_m) return std::nullopt;
        if (t.tube_diameter_m <= t.outer_diameter_m / 2) {
            return fmt::format(
                "{0}.tube_diameter is {1}, half of {0}.outer_diameter ({2}): the hole is closed; make the tube "
                "thinner than {3}",
                key, length_text(t.tube_diameter_m), length_text(t.outer_diameter_m),
                length_text(kWidestTube * t.outer_diameter_m));
        }
        return fmt::format(
            "{0}.tube_diameter is {1}, more than half of {0}.outer_diameter ({2}): no toroid has such a tube", key,
            length_text(t.tube_diameter_m), length_text(t.outer_diameter_m));
    }
    Complaint operator()(const Sphere& s) const {
        return first_of(diameter("diameter", s.diameter_m), height(s.height_m));
    }
    Complaint operator()(const Disc& d) const {
        return first_of(diameter("diameter", d.diameter_m), height(d.height_m));
    }

private:
    Complaint diameter(std::string_view name, double metres) const {
        return bad_length(fmt::format("{}.{}", key, name), metres, 1e-3, 20);
    }
    Complaint height(double metres) const { return bad_length(key + ".height", metres, -20, 100); }
};

// Height above the end of the winding from which on a body is clear of it.
double clear_height_m(const Outline& body, const Outline& winding) {
    const double across = std::max({body.r_low_m - winding.r_high_m, winding.r_low_m - body.r_high_m, 0.0});
    return std::sqrt(std::max(body.rounding_m * body.rounding_m - across * across, 0.0));
}

Complaint body_fits(const CoilDescription& coil, std::size_t index) {
    const TopLoadBody& body = coil.topload[index];
    const std::string key = body_key(coil, index);
    if (auto bad = std::visit(BodySizes{key}, body)) return bad;

    const Outline winding = outline_of(coil.secondary);
    const Outline shape = outline_of(body, winding.z_high_m);
    if (gap_m(shape, winding) < -kTouchM) {
        return fmt::format(
            "{0}.height {1} makes the {2} run through the winding; from {3} above the end of the winding on "
            "it is clear of it (height counts to the centre of the {2})",
            key, length_text(shape.z_low_m - winding.z_high_m), shape_name(body),
            length_text(clear_height_m(shape, winding)));
    }
    if (coil.surroundings.ground && shape.lowest_m() < kLeastGapM) {
        return fmt::format(
            "{}.height {} puts the {} on or under the ground (its lowest point at {}); raise it or "
            "secondary.base_height",
            key, length_text(shape.z_low_m - winding.z_high_m), shape_name(body), length_text(shape.lowest_m()));
    }
    return std::nullopt;
}

// Bodies of a stack are one conductor and may overlap, but not lie in the same place: a surface counted twice.
bool same_place(const Outline& a, const Outline& b) {
    const bool flat = a.rounding_m == 0 && b.rounding_m == 0;
    return std::abs(a.z_low_m - b.z_low_m) < kLeastGapM && std::abs(a.rounding_m - b.rounding_m) < kLeastGapM &&
           (flat || std::abs(a.r_high_m - b.r_high_m) < kLeastGapM);
}

Complaint topload_fits(const CoilDescription& coil) {
    for (std::size_t i = 0; i < coil.topload.size(); ++i) {
        if (auto bad = body_fits(coil, i)) return bad;
        for (std::size_t j = 0; j < i; ++j) {
            if (same_place(outline_of(coil.topload[i], 0), outline_of(coil.topload[j], 0))) {
                return fmt::format(
                    "{} lies in the same place as {}; give each body of the stack its own height or leave "
                    "one out",
                    body_key(coil, i), body_key(coil, j));
            }
        }
    }
    return std::nullopt;
}

// What stands around -------------------------------------------------------------------------------------------------

struct Part {
    std::string name;
    Outline outline;
};

// The secondary and its top load: what is live.
std::vector<Part> live_parts(const CoilDescription& coil) {
    const Outline winding = outline_of(coil.secondary);
    std::vector<Part> parts{{"the secondary winding", winding}};
    for (std::size_t i = 0; i < coil.topload.size(); ++i) {
        parts.push_back({fmt::format("the {} ({})", shape_name(coil.topload[i]), body_key(coil, i)),
                         outline_of(coil.topload[i], winding.z_high_m)});
    }
    return parts;
}

template <typename Shape>
Complaint runs_into(std::string_view what, const Shape& outline, const std::vector<Part>& parts,
                    std::string_view remedy) {
    for (const Part& part : parts) {
        const double gap = gap_m(outline, part.outline);
        if (gap < kLeastGapM) {
            return fmt::format("{} {} {}; {}", what, gap < 0 ? "runs into" : "all but touches", part.name, remedy);
        }
    }
    return std::nullopt;
}

template <typename Shape>
Complaint under_ground(std::string_view what, const Shape& outline, std::string_view key, bool ground) {
    if (!ground || outline.lowest_m() >= kLeastGapM) return std::nullopt;
    return fmt::format("{} lies on or under the ground (its lowest point at {}); raise {} above {}", what,
                       length_text(outline.lowest_m()), key, length_text(outline.rounding_m));
}

Complaint strike_ring_fits(const CoilDescription& coil) {
    if (!coil.surroundings.strike_ring) return std::nullopt;
    const auto& ring = *coil.surroundings.strike_ring;
    if (auto bad = first_of(bad_length("surroundings.strike_ring.diameter", ring.diameter_m, 1e-3, 50),
                            bad_length("surroundings.strike_ring.tube_diameter", ring.tube_diameter_m, 1e-4, 1),
                            bad_length("surroundings.strike_ring.height", ring.height_m, -100, 100))) {
        return bad;
    }
    if (ring.tube_diameter_m > ring.diameter_m / 2) {
        return fmt::format("surroundings.strike_ring.tube_diameter is {}, more than half of its diameter ({})",
                           length_text(ring.tube_diameter_m), length_text(ring.diameter_m));
    }
    const Outline outline = outline_of(ring);
    return first_of(
        under_ground("surroundings.strike_ring", outline, "surroundings.strike_ring.height", coil.surroundings.ground),
        runs_into("surroundings.strike_ring", outline, live_parts(coil),
                  "change surroundings.strike_ring.diameter or height"));
}

Complaint primary_sizes(const Primary& p, bool ground) {
    if (auto bad =
            first_of(bad_length("primary.inner_diameter", p.inner_diameter_m, 1e-3, 20),
                     bad_length("primary.pitch", p.pitch_m, 1e-4, 1), bad_number("primary.turns", p.turns, 0.1, 1000),
                     bad_length("primary.conductor", p.conductor_diameter_m, 1e-5, 0.5),
                     bad_number("primary.angle", p.angle_deg, 0, 90, "degrees"),
                     bad_length("primary.base_height", p.base_height_m, ground ? 0 : -100, 100))) {
        return bad;
    }
    if (p.turns > 1 && p.conductor_diameter_m > p.pitch_m * (1 + 1e-6)) {
        return fmt::format(
            "primary.conductor is {}, thicker than primary.pitch ({}): neighbouring turns would overlap; "
            "widen the pitch",
            length_text(p.conductor_diameter_m), length_text(p.pitch_m));
    }
    if (p.conductor_diameter_m > p.inner_diameter_m / 2) {
        return fmt::format("primary.conductor is {}, more than half of primary.inner_diameter ({}); check both units",
                           length_text(p.conductor_diameter_m), length_text(p.inner_diameter_m));
    }
    return std::nullopt;
}

Complaint primary_fits(const CoilDescription& coil) {
    if (!coil.primary) return std::nullopt;
    if (auto bad = primary_sizes(*coil.primary, coil.surroundings.ground)) return bad;
    const SlopingOutline outline = outline_of(*coil.primary);
    if (auto bad = first_of(
            under_ground("primary", outline, "primary.base_height", coil.surroundings.ground),
            runs_into("primary", outline, live_parts(coil), "change primary.inner_diameter or primary.base_height"))) {
        return bad;
    }
    if (!coil.surroundings.strike_ring) return std::nullopt;
    return runs_into("primary", outline, {{"surroundings.strike_ring", outline_of(*coil.surroundings.strike_ring)}},
                     "change surroundings.strike_ring.diameter or height");
}

// How far something reaches out and up.
struct Reach {
    std::string name;
    double outermost_m = 0;
    double highest_m = 0;
};

std::vector<Reach> everything(const CoilDescription& coil) {
    std::vector<Reach> all;
    for (const Part& part : live_parts(coil)) {
        all.push_back({part.name, part.outline.outermost_m(), part.outline.highest_m()});
    }
    if (coil.primary) {
        const SlopingOutline primary = outline_of(*coil.primary);
        all.push_back({"the primary", primary.outermost_m(), primary.highest_m()});
    }
    if (coil.surroundings.strike_ring) {
        const Outline ring = outline_of(*coil.surroundings.strike_ring);
        all.push_back({"the strike ring", ring.outermost_m(), ring.highest_m()});
    }
    return all;
}

Complaint room_fits(const CoilDescription& coil) {
    const Surroundings& room = coil.surroundings;
    if (room.wall_radius_m) {
        if (auto bad = bad_length("surroundings.wall_radius", *room.wall_radius_m, 1e-3, 1000)) return bad;
    }
    if (room.ceiling_height_m) {
        if (auto bad = bad_length("surroundings.ceiling_height", *room.ceiling_height_m, -100, 1000)) return bad;
    }
    for (const Reach& part : everything(coil)) {
        if (room.wall_radius_m && *room.wall_radius_m - part.outermost_m < kLeastGapM) {
            return fmt::format(
                "surroundings.wall_radius is {}, but {} reaches out to {} from the axis; the wall must stand "
                "outside it",
                length_text(*room.wall_radius_m), part.name, length_text(part.outermost_m));
        }
        if (room.ceiling_height_m && *room.ceiling_height_m - part.highest_m < kLeastGapM) {
            return fmt::format(
                "surroundings.ceiling_height is {}, but {} reaches up to {}; the ceiling must be above it "
                "(both count from z = 0)",
                length_text(*room.ceiling_height_m), part.name, length_text(part.highest_m));
        }
    }
    return std::nullopt;
}

// Tank and tolerances ------------------------------------------------------------------------------------------------

Complaint tank_fits(const CoilDescription& coil) {
    if (!coil.tank) return std::nullopt;
    const Tank& tank = *coil.tank;
    if (auto bad = first_of(bad_number("tank.capacitance", tank.capacitance_f, 1e-12, 1e-3, "F"),
                            bad_number("tank.lead_inductance", tank.lead_inductance_h, 0, 1e-3, "H"))) {
        return bad;
    }
    if (!tank.tap_turns) return std::nullopt;
    if (!coil.primary) return "tank.tap_turns is given but there is no primary to tap; describe the primary";
    if (*tank.tap_turns > 0 && *tank.tap_turns <= coil.primary->turns) return std::nullopt;
    return fmt::format("tank.tap_turns is {}; the tap must lie above 0 and not beyond primary.turns ({})",
                       plain_text(*tank.tap_turns), plain_text(coil.primary->turns));
}

Complaint tolerances_fit(const CoilDescription& coil) {
    const Tolerances& t = coil.tolerances;
    const auto length = [](std::string_view key, const std::optional<double>& value, double limit) {
        return value ? bad_length(key, *value, 0, limit) : std::nullopt;
    };
    const auto number = [](std::string_view key, const std::optional<double>& value, double limit) {
        return value ? bad_number(key, *value, 0, limit) : std::nullopt;
    };
    return first_of(length("tolerances.diameter", t.diameter_m, coil.secondary.diameter_m / 2),
                    length("tolerances.length", t.length_m, coil.secondary.length_m / 2),
                    number("tolerances.turns", t.turns, coil.secondary.turns / 2),
                    length("tolerances.base_height", t.base_height_m, 100),
                    number("tolerances.topload", t.topload_relative, 0.5),
                    number("tolerances.primary", t.primary_relative, 0.5),
                    number("tolerances.tank_capacitance", t.tank_capacitance_relative, 0.5),
                    number("tolerances.lead_inductance", t.lead_inductance_h, 1e-3));
}

}  // namespace

Status check_geometry(const CoilDescription& coil) {
    // In this order: later checks take the sizes for granted that earlier ones have judged.
    const auto checks = {
        +[](const CoilDescription& c) { return winding_sizes(c.secondary, c.surroundings.ground); },
        +[](const CoilDescription& c) { return winding_fits(c.secondary); },
        +topload_fits,
        +strike_ring_fits,
        +primary_fits,
        +room_fits,
        +tank_fits,
        +tolerances_fit,
    };
    for (const auto& check : checks) {
        if (auto complaint = check(coil)) return bad_input(std::move(*complaint));
    }
    return Done{};
}

}  // namespace coldtune::model
