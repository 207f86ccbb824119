// What happens to recorded samples on their way through a converter and a computer.
#pragma once

#include <vector>

#include "analyzer/bench/bench.hpp"

namespace coldtune::bench {

void add_harmonics(std::vector<double>& samples, const Nonlinearity& nonlinearity);
void add_hum(std::vector<double>& samples, const Hum& hum, double level_dbfs, double true_rate_hz);
void add_tone(std::vector<double>& samples, double frequency_hz, double amplitude, double phase, double true_rate_hz);
void add_echo(std::vector<double>& samples, double level_db, double delay_s, double rate_hz);
// Everything from half the lower rate upward is gone.
void pass_lower_rate(std::vector<double>& samples, double lower_rate_hz, double rate_hz);
void automatic_gain(std::vector<double>& samples, double target_dbfs, double time_s, double rate_hz);
void gate(std::vector<double>& samples, double threshold_dbfs, double rate_hz);
void clip(std::vector<double>& samples, double level);
// Rounds to PCM codes of this width (none for 0 bits); the most positive code is one step below full scale.
void round_to_bits(std::vector<double>& samples, int bits);
void apply_block(std::vector<double>& samples, const BlockFault& fault);

}  // namespace coldtune::bench
