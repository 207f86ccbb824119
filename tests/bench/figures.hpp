// Figures that take minutes and are read by people, not watched by a test: each prints a table, but for the last.
#pragma once

namespace coldtune::figures {

// Scatter of frequency and Q over the least possible one (Cramer-Rao), of this fit and of three usual ways.
void print_efficiency(int runs);
// Seconds of sound until the noise's share of the frequency's 95 % interval is 100 ppm.
void print_sweep_time();
// Processor time and memory against the size of the task, with fitted exponents.
void print_growth();
// A below-band problem and its result as JSON, for tests/bench/side_by_side.
void print_below_band_problem();

}  // namespace coldtune::figures
