// How far a sweep drives the head of the coil. A coil of high Q makes hundreds of volts out of a line output.
#pragma once

#include "dsp/result.hpp"

namespace coldtune::measure {

struct HeadLimit {
    double output_peak_v = 11;  // of the output at 0 dBFS: a line output of +20 dBu. Common practice, no source.
    double most_peak_v = 60;    // on the head; above it a touch is no longer harmless. Common practice, no source.
};

// Q of the coil together with the resistor before its foot, q R / (R_ref + R): what a wire near the head hears.
//   q, resistance_ohm: of the resonance at the foot, as measured there.
double loaded_q(double reference_ohm, double q, double resistance_ohm);

// Largest voltage from head to return, peak, volt, while a sine or a sweep of `level_dbfs` (peak) passes the resonance:
// the output's voltage times the loaded Q, times 4 / pi. The current at the foot is V / (R_ref + R), and over the
// coil's impedance level q R it makes V Q_loaded. The factor is the quarter-wave line's of even winding, whose head
// rises to I Z0 with q R = pi / 4 Z0; a top load makes it smaller, down to 1 where the coil is a lumped one. So it is
// an upper bound. Assumes the coil swung in fully; a sweep that passes quickly gives less.
double head_peak_v(double level_dbfs, double output_peak_v, double loaded_q);

// An error (rejected) with the figure, and with the level that would do, where the head would exceed the limit.
Status check_head(const HeadLimit& limit, double level_dbfs, double loaded_q);

// Peak level, dBFS, for a first look at a coil that nothing is known of: the asked one, or less where the current
// through the reference resistor alone would put the limit on the head of a coil of 80 kohm, which is a large one
// (60 mH at 200 kHz, 250 mH at 50 kHz).
double first_look_level_dbfs(const HeadLimit& limit, double level_dbfs, double reference_ohm);

}  // namespace coldtune::measure
