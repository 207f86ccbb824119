// What the described tank is as a circuit: needs the primary's sums, not the secondary's model.
#include <numbers>

#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/model/primary.hpp"
#include "analyzer/model/tank.hpp"
#include "analyzer/model/wire.hpp"

namespace coldtune::model {

using std::numbers::pi;

double primary_copper_ohm(const Primary& primary, double tap_turns, double frequency_hz) {
    const double resistivity = copper_resistivity_ohm_m(20);
    const double section = pi * primary.conductor_diameter_m * primary.conductor_diameter_m / 4;
    return resistivity * primary_conductor_length_m(primary, tap_turns) / section *
           skin_effect_ratio(primary.conductor_diameter_m, frequency_hz, resistivity);
}

TankLoop described_tank(const CoilDescription& coil) {
    TankLoop tank;
    tank.inductance_h = tank_inductance_h(*coil.primary, *coil.tank);
    tank.capacitance_f = coil.tank->capacitance_f;
    tank.resistance_ohm = primary_copper_ohm(*coil.primary, coil.tank->tap_turns.value_or(coil.primary->turns),
                                             tank_frequency_hz(*coil.primary, *coil.tank));
    return tank;
}

}  // namespace coldtune::model
