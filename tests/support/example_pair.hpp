// A coil with primary and tank that several tests take: invented, of the trade's proportions.
#pragma once

#include "analyzer/model/geometry.hpp"

namespace coldtune::test {

inline model::CoilDescription example_pair() {
    model::CoilDescription coil;
    coil.secondary = {.diameter_m = 0.16,
                      .length_m = 0.75,
                      .turns = 2500,
                      .wire_diameter_m = 0.25e-3,
                      .base_height_m = 0.15,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    coil.topload.emplace_back(model::Toroid{0.6, 0.15, 0.06});
    coil.primary = model::Primary{.inner_diameter_m = 0.26,
                                  .pitch_m = 0.016,
                                  .turns = 14,
                                  .conductor_diameter_m = 0.008,
                                  .angle_deg = 0,
                                  .base_height_m = 0.15};
    coil.tank = model::Tank{.capacitance_f = 100e-9, .tap_turns = 11, .lead_inductance_h = 0.5e-6};
    return coil;
}

}  // namespace coldtune::test
