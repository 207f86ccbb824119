#include "analyzer/model/calculated.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <variant>

#include "analyzer/model/coil_conductors.hpp"
#include "analyzer/model/handbook.hpp"
#include "analyzer/model/inductance.hpp"
#include "analyzer/model/secondary_modes.hpp"
#include "analyzer/model/wire.hpp"

namespace coldtune::model {
namespace {

// A sensitivity needs no more; the error of the discretisation is common to both sides of the difference.
constexpr std::size_t kSensitivitySections = 12;

double first_mode_hz(const CoilDescription& coil) {
    const auto turns = static_cast<std::size_t>(std::max(1.0, std::floor(coil.secondary.turns)));
    const std::size_t sections = std::min(kSensitivitySections, turns);
    const ModalCircuit circuit = solve_modes(section_inductance_h(coil.secondary, sections),
                                             solve_maxwell(coil_conductors(coil, sections)).capacitance_f, Head::open);
    return std::sqrt(circuit.omega_squared(0)) / (2.0 * std::numbers::pi);
}

void scale_body(TopLoadBody& body, double factor) {
    std::visit(
        [factor](auto& shape) {
            using Shape = std::decay_t<decltype(shape)>;
            if constexpr (std::is_same_v<Shape, Toroid>) {
                shape.outer_diameter_m *= factor;
                shape.tube_diameter_m *= factor;
            } else {
                shape.diameter_m *= factor;
            }
        },
        body);
}

// Standard uncertainty in hertz from a limit: half the difference of the ends over sqrt 3.
double standard_of(const CoilDescription& coil, double limit,
                   const std::function<void(CoilDescription&, double)>& shift) {
    CoilDescription high = coil;
    CoilDescription low = coil;
    shift(high, limit);
    shift(low, -limit);
    return 0.5 * std::abs(first_mode_hz(high) - first_mode_hz(low)) / std::numbers::sqrt3;
}

}  // namespace

Tolerances tolerances_or_defaults(const CoilDescription& coil) {
    const Winding& winding = coil.secondary;
    Tolerances given = coil.tolerances;
    if (!given.diameter_m) given.diameter_m = 0.01 * winding.diameter_m;
    if (!given.length_m) given.length_m = 0.01 * winding.length_m;
    if (!given.turns) given.turns = 0.01 * winding.turns;
    if (!given.base_height_m) given.base_height_m = std::max(0.1 * std::abs(winding.base_height_m), 0.010);
    if (!given.topload_relative) given.topload_relative = 0.02;
    return given;
}

std::vector<UncertaintyTerm> uncertainty_budget(const CoilDescription& coil, double frequency_hz) {
    const Tolerances limit = tolerances_or_defaults(coil);
    std::vector<UncertaintyTerm> terms;
    const auto add = [&](const char* quantity, double value,
                         const std::function<void(CoilDescription&, double)>& shift) {
        if (value > 0) terms.push_back({quantity, value, standard_of(coil, value, shift)});
    };
    add("diameter", *limit.diameter_m, [](CoilDescription& c, double d) { c.secondary.diameter_m += d; });
    add("length", *limit.length_m, [](CoilDescription& c, double d) { c.secondary.length_m += d; });
    add("turns", *limit.turns, [](CoilDescription& c, double d) { c.secondary.turns += d; });
    if (coil.surroundings.ground || coil.surroundings.wall_radius_m || coil.surroundings.ceiling_height_m) {
        add("base height", *limit.base_height_m, [](CoilDescription& c, double d) {
            // Not into the ground: the difference then is one-sided over what is left.
            const double lowest = c.surroundings.ground ? 1e-3 : -1e9;
            c.secondary.base_height_m = std::max(c.secondary.base_height_m + d, lowest);
        });
    }
    if (!coil.topload.empty()) {
        add("top load", *limit.topload_relative, [](CoilDescription& c, double d) {
            for (TopLoadBody& body : c.topload) scale_body(body, 1.0 + d);
        });
    }
    terms.push_back({"model", 0.0, kModelStandardRelative * frequency_hz});
    // A winding of few turns far apart is a helix and no current sheet: against partial inductances of a helix of
    // filaments the inductance is 0.4, 1.6, 4.5 and 11 % high at pitches of 0.11, 0.23, 0.45 and 0.91 diameters, which
    // is half of that in frequency.
    const double pitch = coil.secondary.length_m / coil.secondary.turns / coil.secondary.diameter_m;
    if (pitch > 0.1) terms.push_back({"turns far apart", 0.0, 0.07 * std::pow(pitch, 1.5) * frequency_hz});
    return terms;
}

double described_inductance_u(const CoilDescription& coil) {
    const Tolerances limit = tolerances_or_defaults(coil);
    const double turns = *limit.turns / coil.secondary.turns, diameter = *limit.diameter_m / coil.secondary.diameter_m;
    const double length = *limit.length_m / coil.secondary.length_m;
    return std::sqrt((4 * turns * turns + 4 * diameter * diameter + length * length) / 3 + 0.01 * 0.01);
}

Result<Calculated> calculate(const CoilDescription& coil, const ModelOptions& options) {
    const Result<SecondaryModel> built = SecondaryModel::build(coil, options);
    if (!built) return built.error();
    const SecondaryModel& model = *built;
    const ModeEquivalent first = model.equivalent(0);

    Calculated result;
    result.frequency_hz = first.frequency_hz;
    double variance = 0;
    for (const UncertaintyTerm& term : uncertainty_budget(coil, first.frequency_hz)) {
        variance += term.standard_hz * term.standard_hz;
    }
    result.frequency_u95_hz = 2.0 * std::sqrt(variance);
    result.inductance_h = first.inductance_h;
    result.capacitance_f = first.capacitance_f;
    result.low_frequency_inductance_h = winding_inductance_h(coil.secondary);
    result.low_frequency_inductance_u95_h = 2.0 * described_inductance_u(coil) * result.low_frequency_inductance_h;
    result.q = first.q;
    result.resistance_ohm = first.resistance_ohm;
    result.dc_resistance_ohm = winding_dc_resistance_ohm(coil.secondary);
    result.head_volts_per_volt = std::abs(model.head_volts_per_volt(first.frequency_hz));
    result.wire_length_m = wire_length_m(coil.secondary);
    const std::size_t reported = std::min<std::size_t>(4, model.modes_hz().size());
    result.modes_hz.assign(model.modes_hz().begin(), model.modes_hz().begin() + static_cast<std::ptrdiff_t>(reported));
    result.handbook = handbook_values(coil);
    return result;
}

}  // namespace coldtune::model
