// The wire: copper, its resistance with direct and with alternating current.
#pragma once

#include "analyzer/model/geometry.hpp"

namespace coldtune::model {

// Resistivity of annealed copper, ohm metre, at a temperature in degrees Celsius: 1/58 uohm m at 20 C and a temperature
// coefficient of 0.00393 per kelvin at 20 C and constant mass (IEC 60028:1925). Linear; meant for -50 to 200 C.
double copper_resistivity_ohm_m(double temperature_c);

// Length of wire in a winding, metres: `turns` turns of a helix.
double wire_length_m(const Winding& winding);

// DC resistance of a winding, ohm.
double winding_dc_resistance_ohm(const Winding& winding);

// Resistance and internal inductance of an isolated straight round wire against their DC values. Kelvin's solution by
// Bessel functions of the complex argument z = (1 - j) radius / skin depth. Non-magnetic conductor; frequency >= 0.
double skin_effect_ratio(double wire_diameter_m, double frequency_hz, double resistivity_ohm_m);
double internal_inductance_ratio(double wire_diameter_m, double frequency_hz, double resistivity_ohm_m);

// The same as functions of x = sqrt(2) radius / skin depth >= 0, the argument of the printed tables.
double skin_effect_ratio_of_x(double x);
double internal_inductance_ratio_of_x(double x);
// Loss of a round wire in a transverse alternating field, in the normalisation of S. Butterworth (1925-26): x^4/64 for
// small x, (sqrt(2) x - 1)/8 for large.
double transverse_field_loss_of_x(double x);

// Medhurst's proximity factor: resistance of a single-layer coil of many turns over that of the same wire straight, in
// the limit of high frequency. R. G. Medhurst, Wireless Engineer 24, 35 and 80 (1947), his table of measurements,
// interpolated monotonically; exact at its nodes, 1 for wire over pitch tending to 0. length_over_diameter >= 0
// (infinity allowed), wire_over_pitch in 0..1 (values outside are clamped).
double proximity_factor(double length_over_diameter, double wire_over_pitch);

// Resistance of a winding at a frequency, ohm: Rdc [H(x) + 2 (Phi - 1) G(x)], H the skin-effect ratio, G the
// transverse-field loss. At high frequency G tends to H/2, so the ratio tends to Medhurst's Phi H; with direct current
// G vanishes and the ratio is 1. The split into skin and field loss is Butterworth's; fixing its one coefficient by
// Medhurst's limit is ours. Copper loss alone: no dielectric, ground or radiation loss.
double winding_ac_resistance_ohm(const Winding& winding, double frequency_hz);

// The same at many frequencies: what does not depend on them is worked out once.
class WindingLoss {
public:
    explicit WindingLoss(const Winding& winding);
    [[nodiscard]] double ac_resistance_ohm(double frequency_hz) const;

private:
    double wire_diameter_m_, resistivity_ohm_m_, dc_resistance_ohm_, proximity_;
};

}  // namespace coldtune::model
