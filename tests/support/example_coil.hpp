// The coil that several tests take when any ordinary one will do: invented, of the trade's proportions.
#pragma once

#include <utility>
#include <vector>

#include "analyzer/model/geometry.hpp"

namespace coldtune::test {

inline model::CoilDescription example_coil(std::vector<model::TopLoadBody> topload = {}) {
    model::CoilDescription coil;
    coil.secondary = {.diameter_m = 0.11,
                      .length_m = 0.5,
                      .turns = 1000,
                      .wire_diameter_m = 0.4e-3,
                      .base_height_m = 0.3,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    coil.topload = std::move(topload);
    return coil;
}

}  // namespace coldtune::test
