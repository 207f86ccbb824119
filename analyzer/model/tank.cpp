#include "analyzer/model/tank.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <numbers>

#include "analyzer/model/primary.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;

constexpr double kSizeLimit = 0.05;
constexpr double kCapacitorLimit = 0.05;
constexpr double kLeadLimit_h = 0.5e-6;

constexpr std::array<PrimarySize, 3> kSizes = {{
    {"inner diameter", [](Primary& p, double factor) { p.inner_diameter_m *= factor; }},
    {"pitch", [](Primary& p, double factor) { p.pitch_m *= factor; }},
    {"conductor", [](Primary& p, double factor) { p.conductor_diameter_m *= factor; }},
}};

}  // namespace

std::span<const PrimarySize> primary_sizes() {
    return kSizes;
}

TankLimits tank_limits_or_defaults(const CoilDescription& coil) {
    const double leads = coil.tank ? coil.tank->lead_inductance_h : 0;
    return {coil.tolerances.primary_relative.value_or(kSizeLimit),
            coil.tolerances.tank_capacitance_relative.value_or(kCapacitorLimit),
            coil.tolerances.lead_inductance_h.value_or(std::max(kLeadLimit_h, 0.5 * leads))};
}

std::optional<TankCalculated> calculate_tank(const CoilDescription& coil) {
    if (!coil.primary || !coil.tank) return std::nullopt;
    const TankLimits limits = tank_limits_or_defaults(coil);
    const double tap = coil.tank->tap_turns.value_or(coil.primary->turns);
    const double winding_h = primary_inductance_h(*coil.primary, tap);
    TankCalculated tank;
    tank.inductance_h = winding_h + coil.tank->lead_inductance_h;
    tank.capacitance_f = coil.tank->capacitance_f;
    tank.frequency_hz = tank_frequency_hz(tank.inductance_h, tank.capacitance_f);
    double variance = std::pow(kPrimaryModelStandardRelative * winding_h, 2) +
                      limits.lead_inductance_h * limits.lead_inductance_h / 3;
    for (const PrimarySize& size : kSizes) {
        Primary larger = *coil.primary;
        size.scale(larger, 1 + limits.primary_relative);
        const double change = primary_inductance_h(larger, tap) - winding_h;
        variance += change * change / 3;
    }
    const double relative_l = std::sqrt(variance) / tank.inductance_h;
    const double relative_c = limits.capacitance_relative / std::numbers::sqrt3;
    tank.inductance_u95_h = 2 * relative_l * tank.inductance_h;
    tank.capacitance_u95_f = 2 * relative_c * tank.capacitance_f;
    tank.frequency_u95_hz = std::hypot(relative_l, relative_c) * tank.frequency_hz;  // half of each, twice
    return tank;
}

double tank_inductance_h(const Primary& primary, const Tank& tank) {
    return primary_inductance_h(primary, tank.tap_turns.value_or(primary.turns)) + tank.lead_inductance_h;
}

double tank_frequency_hz(double inductance_h, double capacitance_f) {
    return 1 / (2 * pi * std::sqrt(inductance_h * capacitance_f));
}

double tank_frequency_hz(const Primary& primary, const Tank& tank) {
    return tank_frequency_hz(tank_inductance_h(primary, tank), tank.capacitance_f);
}

Result<double> tap_for_frequency(const Primary& primary, const Tank& tank, double frequency_hz) {
    if (!(frequency_hz > 0) || !std::isfinite(frequency_hz)) {
        return bad_input(fmt::format("the frequency {:.6g} Hz to tune to must be above zero", frequency_hz));
    }
    const auto frequency_at = [&](double tap) {
        return tank_frequency_hz(primary_inductance_h(primary, tap) + tank.lead_inductance_h, tank.capacitance_f);
    };
    const double least_tap = std::min(0.1, primary.turns);
    const double lowest = frequency_at(primary.turns);
    const double highest = frequency_at(least_tap);
    if (frequency_hz < lowest || frequency_hz > highest) {
        const double omega = 2 * pi * frequency_hz;
        const double inductance = primary_inductance_h(primary, primary.turns) + tank.lead_inductance_h;
        return bad_input(fmt::format(
            "no tap reaches {:.4g} kHz: with {:.4g} nF the primary tunes from {:.4g} kHz (all {:.4g} turns) to {:.4g} "
            "kHz; with the whole primary tank.capacitance would have to be {:.4g} nF",
            frequency_hz / 1e3, tank.capacitance_f * 1e9, lowest / 1e3, primary.turns, highest / 1e3,
            1e9 / (omega * omega * inductance)));
    }
    // The frequency falls steadily with the tap. 1e-12 of a turn is beyond any clip.
    const auto off = [&](double tap) { return frequency_at(tap) - frequency_hz; };
    if (off(least_tap) == 0) return least_tap;
    if (off(primary.turns) == 0) return primary.turns;
    std::uintmax_t iterations = 100;
    const auto close = [](double a, double b) { return std::abs(a - b) < 1e-12 * std::abs(b); };
    const auto [below, above] = boost::math::tools::toms748_solve(off, least_tap, primary.turns, close, iterations);
    return (below + above) / 2;
}

double capacitance_for_frequency_f(const Primary& primary, const Tank& tank, double frequency_hz) {
    const double omega = 2 * pi * frequency_hz;
    return 1 / (omega * omega * tank_inductance_h(primary, tank));
}

}  // namespace coldtune::model
