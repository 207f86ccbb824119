#include "analyzer/measure/head_voltage.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace coldtune::measure {
namespace {

constexpr double kLineFactor = 4 / std::numbers::pi;
constexpr double kLargeCoil_ohm = 80e3;  // impedance level Q R

double amplitude(double level_dbfs) {
    return std::pow(10.0, level_dbfs / 20);
}

}  // namespace

double loaded_q(double reference_ohm, double q, double resistance_ohm) {
    return q * resistance_ohm / (reference_ohm + resistance_ohm);
}

double head_peak_v(double level_dbfs, double output_peak_v, double loaded_q) {
    return kLineFactor * amplitude(level_dbfs) * output_peak_v * loaded_q;
}

Status check_head(const HeadLimit& limit, double level_dbfs, double loaded_q) {
    const double peak_v = head_peak_v(level_dbfs, limit.output_peak_v, loaded_q);
    if (!(peak_v > limit.most_peak_v)) return Done{};
    // Rounded down: what is advised must pass.
    const double enough_dbfs = std::floor(level_dbfs - 20 * std::log10(peak_v / limit.most_peak_v));
    return rejected(fmt::format(
        "at {:.0f} dBFS the head would reach {:.0f} V peak (Q {:.3g} as measured with the reference resistor in "
        "the circuit, output {:.3g} V at full scale), more than {:.3g} V: set the level to {:.0f} dBFS or less, take a "
        "larger reference resistor, or raise the head limit if nobody can touch it",
        level_dbfs, peak_v, loaded_q, limit.output_peak_v, limit.most_peak_v, enough_dbfs));
}

double first_look_level_dbfs(const HeadLimit& limit, double level_dbfs, double reference_ohm) {
    const double most_a = limit.most_peak_v / (kLineFactor * kLargeCoil_ohm);
    const double most_dbfs = 20 * std::log10(most_a * reference_ohm / limit.output_peak_v);
    return std::min(level_dbfs, most_dbfs);
}

}  // namespace coldtune::measure
