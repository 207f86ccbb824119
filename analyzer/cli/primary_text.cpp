#include "analyzer/cli/primary_text.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <optional>
#include <vector>

#include "analyzer/model/primary.hpp"
#include "analyzer/model/tank.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::cli {
namespace {

using record::format_quantity;
using record::Unit;

struct TapLine {
    model::TapPoint tap;
    double mutual_h = 0;
    double coupling = 0;
    std::optional<double> tank_hz;  // without a tank in the description: nullopt
};

TapLine line_at(const model::CoilDescription& coil, const model::TapPoint& tap) {
    TapLine line{tap, model::primary_mutual_h(*coil.primary, tap.turns, coil.secondary),
                 model::primary_coupling(*coil.primary, tap.turns, coil.secondary), std::nullopt};
    if (coil.tank) {
        line.tank_hz =
            model::tank_frequency_hz(tap.inductance_h + coil.tank->lead_inductance_h, coil.tank->capacitance_f);
    }
    return line;
}

// A primary of few turns is tapped finer than at whole turns.
std::vector<TapLine> tap_lines(const model::CoilDescription& coil) {
    std::vector<TapLine> lines;
    for (const model::TapPoint& tap : model::primary_taps(*coil.primary, coil.primary->turns <= 10 ? 0.5 : 1)) {
        lines.push_back(line_at(coil, tap));
    }
    return lines;
}

double tap_in_use(const model::CoilDescription& coil) {
    return coil.tank && coil.tank->tap_turns ? *coil.tank->tap_turns : coil.primary->turns;
}

// The secondary moved up and down in steps of 25 mm, where it can stand.
std::vector<model::CouplingPoint> coupling_lines(const model::CoilDescription& coil) {
    std::vector<double> heights;
    for (int step = -4; step <= 8; ++step) {
        model::CoilDescription moved = coil;
        moved.secondary.base_height_m += 0.025 * step;
        if (model::check_geometry(moved)) heights.push_back(moved.secondary.base_height_m);
    }
    return model::coupling_against_height(*coil.primary, tap_in_use(coil), coil.secondary, heights);
}

}  // namespace

std::string describe_primary(const model::CoilDescription& coil, const model::Calculated& calculated) {
    std::string out =
        "primary, calculated by tap (uniform current in the secondary; leads counted in the tank column only)\n";
    out += fmt::format("  {:>6}  {:>12}  {:>12}  {:>12}  {:>9}{}\n", "turns", "inductance", "length", "mutual", "k",
                       coil.tank ? "          tank" : "");
    for (const TapLine& line : tap_lines(coil)) {
        out += fmt::format("  {:>6.4g}  {:>12}  {:>12}  {:>12}  {:>#9.3g}{}\n", line.tap.turns,
                           format_quantity(line.tap.inductance_h, Unit::henry, 4),
                           format_quantity(line.tap.conductor_length_m, Unit::metre, 4),
                           format_quantity(line.mutual_h, Unit::henry, 4), line.coupling,
                           line.tank_hz ? fmt::format("  {:>12}", format_quantity(*line.tank_hz, Unit::hertz, 4)) : "");
    }
    out += fmt::format(
        "coupling against the secondary's height, tap at {:.4g} turns (heights at which it cannot stand left out)\n",
        tap_in_use(coil));
    out += fmt::format("  {:>12}  {:>12}  {:>9}\n", "base height", "mutual", "k");
    for (const model::CouplingPoint& point : coupling_lines(coil)) {
        out +=
            fmt::format("  {:>12}  {:>12}  {:>#9.3g}\n", format_quantity(point.secondary_base_height_m, Unit::metre, 4),
                        format_quantity(point.mutual_h, Unit::henry, 4), point.coupling);
    }
    if (!coil.tank) return out;
    out += fmt::format("tank, calculated: {} with {} in all, tap at {:.4g} turns\n",
                       format_quantity(model::tank_frequency_hz(*coil.primary, *coil.tank), Unit::hertz, 4),
                       format_quantity(model::tank_inductance_h(*coil.primary, *coil.tank), Unit::henry, 4),
                       tap_in_use(coil));
    const auto tap = model::tap_for_frequency(*coil.primary, *coil.tank, calculated.frequency_hz);
    if (tap) {
        out += fmt::format(
            "  at the calculated resonance of the secondary with the tap at {:.2f} turns, {} along the conductor\n",
            *tap, format_quantity(model::primary_conductor_length_m(*coil.primary, *tap), Unit::metre, 4));
    } else {
        out += "  " + tap.error().message + "\n";
    }
    return out;
}

nlohmann::ordered_json primary_json(const model::CoilDescription& coil, const model::Calculated& calculated) {
    using Json = nlohmann::ordered_json;
    Json taps = Json::array();
    for (const TapLine& line : tap_lines(coil)) {
        taps.push_back({{"turns", line.tap.turns},
                        {"inductance_h", line.tap.inductance_h},
                        {"conductor_length_m", line.tap.conductor_length_m},
                        {"mutual_h", line.mutual_h},
                        {"coupling", line.coupling},
                        {"tank_hz", line.tank_hz ? Json(*line.tank_hz) : Json(nullptr)}});
    }
    Json heights = Json::array();
    for (const model::CouplingPoint& point : coupling_lines(coil)) {
        heights.push_back({{"base_height_m", point.secondary_base_height_m},
                           {"mutual_h", point.mutual_h},
                           {"coupling", point.coupling}});
    }
    Json j{{"taps", std::move(taps)}, {"coupling_against_height", std::move(heights)}, {"tank", nullptr}};
    if (coil.tank) {
        const auto tap = model::tap_for_frequency(*coil.primary, *coil.tank, calculated.frequency_hz);
        j["tank"] = {{"tap_turns", tap_in_use(coil)},
                     {"inductance_h", model::tank_inductance_h(*coil.primary, *coil.tank)},
                     {"frequency_hz", model::tank_frequency_hz(*coil.primary, *coil.tank)},
                     {"tap_turns_for_secondary", tap ? Json(*tap) : Json(nullptr)}};
    }
    return j;
}

}  // namespace coldtune::cli
