// The tank circuit: primary, capacitor and the leads between them.
#pragma once

#include <optional>
#include <span>

#include "analyzer/model/geometry.hpp"
#include "dsp/result.hpp"

namespace coldtune::model {

// What is known of a tank before it is measured: plus/minus limits, from the description's tolerances or these defaults
// (common practice, no source): 5 % on every size of the primary and on the capacitor; of the leads the larger of half
// of what is described and 0.5 uH, half a metre of wire.
struct TankLimits {
    double primary_relative = 0, capacitance_relative = 0, lead_inductance_h = 0;
};
TankLimits tank_limits_or_defaults(const CoilDescription& coil);

// What the ring sums themselves may be off by, standard, relative: thin wire, turns as rings, the eddy currents in
// whatever stands near (secondary, strike ring, ground: the square of their coupling). Common practice, no source.
inline constexpr double kPrimaryModelStandardRelative = 0.01;

// The tank as described, with 95 % half-widths: limits taken as rectangular and independent (GUM 4.3.7), each size of
// the primary for itself.
struct TankCalculated {
    double frequency_hz = 0, frequency_u95_hz = 0;  // undamped, secondary absent
    double inductance_h = 0, inductance_u95_h = 0;  // leads included
    double capacitance_f = 0, capacitance_u95_f = 0;
};
// nullopt without a primary or a tank. Precondition: check_geometry passed.
std::optional<TankCalculated> calculate_tank(const CoilDescription& coil);

// The primary with one of its sizes changed by a relative amount: what its inductance depends on.
struct PrimarySize {
    const char* name;
    void (*scale)(Primary&, double factor);
};
std::span<const PrimarySize> primary_sizes();

// Inductance of the closed tank, henry: the primary up to the tank's tap (the whole of it when none is given) and the
// leads.
double tank_inductance_h(const Primary& primary, const Tank& tank);

// Undamped resonance 1 / (2 pi sqrt(L C)), hertz, the secondary absent.
double tank_frequency_hz(double inductance_h, double capacitance_f);
double tank_frequency_hz(const Primary& primary, const Tank& tank);

// Tap, in turns, at which the tank resonates at a frequency; the tank's own tap is ignored. Errors (bad_input): the
// frequency is not positive, or lies outside what a tenth of a turn to the whole primary can reach; the sentence says
// that range and which capacitance would reach it with the whole primary.
Result<double> tap_for_frequency(const Primary& primary, const Tank& tank, double frequency_hz);

// Capacitance that brings the tank, tapped as it is, to a frequency > 0, farad.
double capacitance_for_frequency_f(const Primary& primary, const Tank& tank, double frequency_hz);

}  // namespace coldtune::model
