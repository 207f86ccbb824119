#include "analyzer/measure/description_check.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace coldtune::measure {
namespace {

// A room that is not described lowers the frequency: by up to 8 % on published coils (DEVELOPERS.md), half as much
// again to be fair to a small one. A forgotten top load or a tank left closed moves it by tens.
constexpr double kRoom = 0.12;
// Of the inductance as the foot sees it: 1 % each of diameter, length, turns and resistor make about 4 % (95 %); three
// times that.
constexpr double kImpedance = 0.12;

}  // namespace

std::vector<Finding> judge_description(bench::Hookup hookup, const Resonance& resonance,
                                       const model::Calculated& calculated) {
    std::vector<Finding> out;
    const bool of_secondary = hookup == bench::Hookup::foot || hookup == bench::Hookup::pickup;
    if (!of_secondary || !(calculated.frequency_hz > 0)) return out;
    const double apart = resonance.frequency_hz - calculated.frequency_hz;
    const double half_width = std::hypot(calculated.frequency_u95_hz, resonance.frequency_u95_hz);
    const double percent = 100 * std::abs(apart) / calculated.frequency_hz;
    if (apart > half_width) {
        out.push_back({FindingCode::no_coil, Weight::caution,
                       fmt::format("measured {:.1f} % above calculated, beyond both intervals, and no surroundings "
                                   "raise a coil's frequency: check the return, the description and the capture's "
                                   "sample rate, and look for shorted turns",
                                   percent)});
    } else if (apart < -half_width - kRoom * calculated.frequency_hz) {
        out.push_back(
            {FindingCode::no_coil, Weight::caution,
             fmt::format("measured {:.0f} % below calculated, more than a room does: open the tank, and check "
                         "the top load and turns of the description, the capture's sample rate, and what "
                         "stands near the coil",
                         percent)});
    }
    if (hookup == bench::Hookup::foot && resonance.q && resonance.resistance_ohm && calculated.inductance_h > 0) {
        const double inductance_h =
            *resonance.q * *resonance.resistance_ohm / (2 * std::numbers::pi * resonance.frequency_hz);
        const double ratio = inductance_h / calculated.inductance_h;
        const double unsure =
            *resonance.q_u95 / *resonance.q + *resonance.resistance_u95_ohm / *resonance.resistance_ohm;
        if (std::abs(std::log(ratio)) > std::log1p(kImpedance + unsure)) {
            out.push_back({FindingCode::correction_stale, Weight::caution,
                           fmt::format("the impedance at the foot is {:.2g} times what the description gives: check "
                                       "the values of reference and load resistor (frequency and Q do not depend on "
                                       "them, the resistance does) and the number of turns",
                                       ratio)});
        }
    }
    return out;
}

std::optional<Finding> judge_tank_description(const Resonance& resonance, const model::TankCalculated& calculated) {
    // Leads that nobody described lower a tank of 20 uH by 1 % for each 0.4 uH; a tap off by a turn of ten moves it 10
    // %.
    constexpr double kLeads = 0.05;
    const double apart = resonance.frequency_hz / calculated.frequency_hz - 1;
    const double half_width =
        std::hypot(calculated.frequency_u95_hz, resonance.frequency_u95_hz) / calculated.frequency_hz;
    if (std::abs(apart) < half_width + kLeads) return std::nullopt;
    return Finding{FindingCode::no_coil, Weight::caution,
                   fmt::format("the tank rings {:.0f} % {} what is calculated for the described capacitor and tap: see "
                               "where the tap is (tap_turns), the capacitor's value, and that the secondary is lifted "
                               "out or its foot untied",
                               100 * std::abs(apart), apart > 0 ? "above" : "below")};
}

}  // namespace coldtune::measure
