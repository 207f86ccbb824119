// Inductance of coaxial circular currents: rings, current-sheet solenoids and the sections a winding is cut into.
//
// SI units throughout. Assumes rotational symmetry, no magnetic material, uniform current over a wire's cross-section.
#pragma once

#include <Eigen/Core>
#include <cstddef>

#include "analyzer/model/geometry.hpp"

namespace coldtune::model {

// Vacuum permeability, H/m; the value before 2019, which the present one matches to 1e-9.
inline constexpr double kVacuumPermeability = 1.25663706143591729538e-6;

// Mutual inductance of two coaxial circular filaments, henry. Radii > 0, distance any sign; the two must not coincide.
// Stable however close they are. Maxwell, Treatise, art. 701, in the form of NIST DLMF 19.34.
double coaxial_rings_mutual_h(double radius_a_m, double radius_b_m, double distance_m);

// Nagaoka's coefficient K for a diameter over length > 0, from Lorenz's exact current-sheet formula (1879); relative
// error below 1e-14 for any length.
double nagaoka_coefficient(double diameter_over_length);

// Self-inductance of a cylindrical current sheet of one turn per metre, henry: multiply by (turns per metre)^2.
// Length >= 0. Lorenz 1879, regrouped so that neither very long nor very short sheets cancel.
double unit_sheet_inductance_h(double diameter_m, double length_m);

// Rosa's round-wire corrections (E. B. Rosa, Bull. Bur. Stand. 2, 161 (1906)): inductance of a winding of round wire =
// sheet - mu0 * radius * turns * (A + B).
// A corrects each turn's self-inductance, uniform current: 5/4 - ln(2 pitch / wire diameter).
double rosa_a(double wire_over_pitch);
// B corrects the mutual inductances between turns: 2/N times the sum over m < N of (N - m) (ln m - ln R_m), R_m the
// mean geometric distance of two pitch-wide strips m pitches apart. Fractional N > 0 interpolates N * B(N) linearly.
double rosa_b(double turns);

// Low-frequency (uniform current) inductance of a winding, henry: sheet minus Rosa.
double winding_inductance_h(const Winding& winding);

// Branch inductances of a winding cut into `sections` equal parts, n x n, henry: symmetric, Toeplitz, positive
// definite. Entries are exact for the current sheet (differences of Lorenz lengths for near sections, Maxwell rings
// integrated to full precision for far ones) with Rosa's A in the diagonal and his B split between sections by the turn
// pairs they hold, so that the sum over all entries is winding_inductance_h. `sections` >= 1, and not more than the
// turns.
Eigen::MatrixXd section_inductance_h(const Winding& winding, std::size_t sections);

// Mutual inductance of a ring and a coaxial current sheet of `turns`, from `bottom_m` to `top_m` along the axis, henry.
// The ring may not touch the sheet.
double ring_sheet_mutual_h(double ring_radius_m, double ring_height_m, double sheet_radius_m, double bottom_m,
                           double top_m, double turns);

}  // namespace coldtune::model
