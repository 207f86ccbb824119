// The table of fields: what they are called, what to measure, how far their sliders go.
#include <array>

#include "gui/coil_form.hpp"

namespace coldtune::gui {
namespace {

using record::Unit;

constexpr std::array<FieldSpec, 6> kWinding = {{
    {"secondary.diameter", "Diameter", "Across the winding, centre of wire to centre of wire.", Unit::metre, false,
     0.03, 0.6},
    {"secondary.length", "Winding length", "First turn to last turn along the form.", Unit::metre, false, 0.05, 2.0},
    {"secondary.turns", "Turns", "Counted, or winding length over the space one turn takes.", Unit::turn, false, 50,
     4000},
    {"secondary.wire", "Wire", "Bare copper diameter: 0.25mm or AWG 30.", Unit::metre, false, 0.05e-3, 2e-3},
    {"secondary.base_height", "Height of the foot", "Ground to the lowest turn.", Unit::metre, false, 0.01, 1.5},
    {"secondary.temperature", "Copper temperature", "Left empty: 20 \u00b0C.", Unit::celsius, true, 0, 0},
}};

constexpr std::array<FieldSpec, 3> kToroid = {{
    {"topload.outer_diameter", "Outer diameter", "Overall, across the whole ring.", Unit::metre, false, 0.05, 2.0},
    {"topload.tube_diameter", "Tube diameter", "Thickness of the ring.", Unit::metre, false, 0.01, 0.5},
    {"topload.height", "Height above winding", "End of the winding to the middle of the ring.", Unit::metre, false,
     0.005, 0.5},
}};
constexpr std::array<FieldSpec, 2> kBall = {{
    {"topload.diameter", "Diameter", "Across.", Unit::metre, false, 0.02, 1.0},
    {"topload.height", "Height above winding", "End of the winding to the centre.", Unit::metre, false, 0.005, 0.8},
}};

constexpr std::array<FieldSpec, 1> kWall = {{
    {"surroundings.wall_radius", "Distance to the wall", "From the coil's axis; a round grounded wall.", Unit::metre,
     false, 0.3, 5.0},
}};
constexpr std::array<FieldSpec, 1> kCeiling = {{
    {"surroundings.ceiling_height", "Height of the ceiling", "Ground to ceiling, when it conducts.", Unit::metre, false,
     1.0, 6.0},
}};
constexpr std::array<FieldSpec, 3> kRing = {{
    {"surroundings.strike_ring.diameter", "Ring diameter", "Centre to centre of the tube.", Unit::metre, false, 0.1,
     2.0},
    {"surroundings.strike_ring.tube_diameter", "Tube diameter", "Thickness of the strike ring.", Unit::metre, false,
     0.003, 0.1},
    {"surroundings.strike_ring.height", "Height above ground", "Ground to the ring.", Unit::metre, false, 0.02, 2.0},
}};
constexpr std::array<FieldSpec, 6> kPrimary = {{
    {"primary.inner_diameter", "Inner diameter", "Of the innermost, lowest turn, middle of the conductor.", Unit::metre,
     false, 0.05, 1.5},
    {"primary.pitch", "Pitch", "Turn to turn, along the slope.", Unit::metre, false, 0.004, 0.1},
    {"primary.turns", "Turns", "All of them, tapped or not.", Unit::turn, false, 1, 30},
    {"primary.conductor", "Conductor", "Diameter of the tube or wire.", Unit::metre, false, 1e-3, 0.03},
    {"primary.angle", "Slope", "0 is a flat spiral, 90 an upright helix.", Unit::degree, true, 0, 90},
    {"primary.base_height", "Height of first turn", "Ground to the lowest turn.", Unit::metre, false, 0.01, 1.5},
}};
constexpr std::array<FieldSpec, 3> kTank = {{
    {"tank.capacitance", "Capacitor", "The whole bank.", Unit::farad, false, 1e-9, 200e-9},
    {"tank.tap_turns", "Tap", "Turns in use; left empty: all.", Unit::turn, true, 0, 0},
    {"tank.lead_inductance", "Leads", "Inductance of the tank's leads; left empty: none.", Unit::henry, true, 0, 0},
}};
constexpr std::array<FieldSpec, 8> kTolerance = {{
    {"tolerances.diameter", "Diameter", "How far off your rule may be, plus or minus.", Unit::metre, true, 0, 0},
    {"tolerances.length", "Winding length", "Plus or minus.", Unit::metre, true, 0, 0},
    {"tolerances.turns", "Turns", "Plus or minus.", Unit::turn, true, 0, 0},
    {"tolerances.base_height", "Height of the foot", "Plus or minus.", Unit::metre, true, 0, 0},
    {"tolerances.topload", "Top load sizes", "Plus or minus, in per cent.", Unit::ratio, true, 0, 0},
    {"tolerances.primary", "Primary sizes", "Plus or minus, in per cent.", Unit::ratio, true, 0, 0},
    {"tolerances.tank_capacitance", "Tank capacitor", "Plus or minus, in per cent.", Unit::ratio, true, 0, 0},
    {"tolerances.lead_inductance", "Leads of the tank", "Plus or minus.", Unit::henry, true, 0, 0},
}};

}  // namespace

std::span<const FieldSpec> winding_fields() {
    return kWinding;
}

std::span<const FieldSpec> topload_fields(std::string_view shape) {
    if (shape == "toroid") return kToroid;
    return kBall;
}

std::span<const FieldSpec> part_fields(CoilPart part) {
    switch (part) {
        case CoilPart::ground:
            return {};
        case CoilPart::wall:
            return kWall;
        case CoilPart::ceiling:
            return kCeiling;
        case CoilPart::strike_ring:
            return kRing;
        case CoilPart::primary:
            return kPrimary;
        case CoilPart::tank:
            return kTank;
    }
    return {};
}

std::span<const FieldSpec> tolerance_fields() {
    return kTolerance;
}

std::string_view part_title(CoilPart part) {
    switch (part) {
        case CoilPart::ground:
            return "Conducting ground beneath";
        case CoilPart::wall:
            return "Conducting wall around";
        case CoilPart::ceiling:
            return "Conducting ceiling";
        case CoilPart::strike_ring:
            return "Strike ring";
        case CoilPart::primary:
            return "Primary";
        case CoilPart::tank:
            return "Tank capacitor";
    }
    return "";
}

std::string topload_key(std::size_t body, std::string_view spec_key) {
    return "topload." + std::to_string(body) + std::string(spec_key.substr(spec_key.find('.')));
}

const FieldSpec* find_field(std::string_view key) {
    // "topload.0.height" is looked up as "topload.height".
    std::string general(key);
    if (key.starts_with("topload.") && key.size() > 10 && key[9] == '.') {
        general = "topload" + std::string(key.substr(9));
    }
    const auto in = [&](std::span<const FieldSpec> fields) -> const FieldSpec* {
        for (const FieldSpec& f : fields) {
            if (f.key == general) return &f;
        }
        return nullptr;
    };
    for (std::span<const FieldSpec> fields :
         {winding_fields(), std::span<const FieldSpec>(kToroid), std::span<const FieldSpec>(kBall), tolerance_fields(),
          part_fields(CoilPart::wall), part_fields(CoilPart::ceiling), part_fields(CoilPart::strike_ring),
          part_fields(CoilPart::primary), part_fields(CoilPart::tank)}) {
        if (const FieldSpec* found = in(fields)) return found;
    }
    return nullptr;
}

}  // namespace coldtune::gui
