// COIL.json: the coil as its builder describes it.
//
// One object; every length may be a text ("20cm", "0.45mm", "8in", "AWG 26") or a number of metres, every other
// quantity a text (see quantity.hpp) or a number in SI units (angles in degrees, temperatures in degrees Celsius). A
// key that may be left out may also be null.
//
//   name          text, may be left out
//   secondary     diameter, length, turns, wire (bare copper), base_height (start of the winding above the ground plane
//                 at z = 0; may be left out in free space); may be left out: temperature (20), wire_overall (over the
//                 enamel)
//   topload       left out or null for none, one body, or an array of bodies that touch:
//                 {"shape": "toroid", outer_diameter, tube_diameter, height}
//                 {"shape": "sphere", diameter, height} or {"shape": "disc", diameter, height};
//                 height is from the end of the winding to the centre of the body
//   surroundings  all may be left out: ground (true), wall_radius (of a cylindrical wall around the axis),
//                 ceiling_height, strike_ring {diameter, tube_diameter, height}
//   primary       may be left out: inner_diameter, pitch (along the slope), turns, conductor (diameter), base_height;
//                 may be left out: angle (0, a flat spiral; 90 is an upright helix)
//   tank          may be left out: capacitance; may be left out: tap_turns (the whole primary), lead_inductance (0)
//   tolerances    plus/minus limits, all may be left out: diameter, length, turns, base_height, topload (relative, of
//                 every size of the top load), primary (relative, of every size of the primary), tank_capacitance
//                 (relative), lead_inductance
#pragma once

#include <filesystem>
#include <string_view>

#include "analyzer/model/geometry.hpp"
#include "dsp/result.hpp"

namespace coldtune::record {

// Strict: unknown keys, wrong units and impossible geometry (model::check_geometry) are errors that name the key (by
// its path, e.g. secondary.length) and the allowed range. `origin` names the source in messages.
Result<model::CoilDescription> parse_coil(std::string_view json_text, std::string_view origin);
Result<model::CoilDescription> read_coil(const std::filesystem::path& path);

}  // namespace coldtune::record
