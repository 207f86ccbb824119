// What the builder wound and where it stands: plain descriptions, SI units, cylindrical symmetry about the z axis.
//
// Coordinates: z points up, the ground plane (when there is one) is z = 0. All lengths are metres. These structs hold
// what a person can measure with a rule; nothing here is computed. `check_geometry` says whether it can be built.
#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "dsp/result.hpp"

namespace coldtune::model {

// A single-layer close- or space-wound winding on a cylinder.
struct Winding {
    double diameter_m = 0;       // centre of wire to centre of wire, across the form
    double length_m = 0;         // first turn to last turn along the form (turns x pitch)
    double turns = 0;            // may be fractional
    double wire_diameter_m = 0;  // bare copper
    double base_height_m = 0;    // start of the winding above z = 0
    double temperature_c = 20;   // of the copper
    // Optional dielectric form and enamel; nullopt = not modelled.
    std::optional<double> overall_wire_diameter_m;  // over the enamel
};

// Height of every top load: from the end of the winding to the CENTRE of the body, along z.
struct Toroid {
    double outer_diameter_m = 0;  // overall
    double tube_diameter_m = 0;
    double height_m = 0;
};
struct Sphere {
    double diameter_m = 0;
    double height_m = 0;
};
struct Disc {
    double diameter_m = 0;
    double height_m = 0;
};
using TopLoadBody = std::variant<Toroid, Sphere, Disc>;

// What stands around the coil, all of it grounded and conducting.
struct Surroundings {
    bool ground = true;                      // conducting plane at z = 0; false = free space
    std::optional<double> wall_radius_m;     // cylindrical wall around the axis
    std::optional<double> ceiling_height_m;  // plane above, from z = 0
    struct StrikeRing {
        double diameter_m = 0;  // centre of tube to centre of tube
        double tube_diameter_m = 0;
        double height_m = 0;  // above z = 0
    };
    std::optional<StrikeRing> strike_ring;
};

// Primary: a helix on a cone. angle 0 = flat spiral, 90 = upright helix. Centre-to-centre pitch along the slope.
struct Primary {
    double inner_diameter_m = 0;  // of the first (lowest, innermost) turn, wire centre to centre
    double pitch_m = 0;           // along the slope
    double turns = 0;
    double conductor_diameter_m = 0;  // round tube or wire
    double angle_deg = 0;             // slope above horizontal
    double base_height_m = 0;         // of the first turn above z = 0
};

// Tank circuit around the primary.
struct Tank {
    double capacitance_f = 0;
    std::optional<double> tap_turns;  // nullopt = whole primary
    double lead_inductance_h = 0;
};

// One-sigma-free tolerances: plus/minus limits the builder vouches for. nullopt = the default stated in the model.
struct Tolerances {
    std::optional<double> diameter_m;
    std::optional<double> length_m;
    std::optional<double> turns;
    std::optional<double> base_height_m;
    std::optional<double> topload_relative;       // relative, on every size of the top load
    std::optional<double> primary_relative = {};  // relative, on every size of the primary
    std::optional<double> tank_capacitance_relative = {};
    std::optional<double> lead_inductance_h = {};  // of the tank's leads
};

struct CoilDescription {
    std::string name;
    Winding secondary;
    std::vector<TopLoadBody> topload;  // empty = bare; several = stacked combination
    Surroundings surroundings;
    std::optional<Primary> primary;
    std::optional<Tank> tank;
    Tolerances tolerances;
};

// Done, or bad_input with the sentence a builder needs (which key, which value, which limit).
Status check_geometry(const CoilDescription& coil);

}  // namespace coldtune::model
