#include "analyzer/record/coil_file.hpp"

#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::record {
namespace {

// A coil description fills a screen; whatever is longer than this is another file.
constexpr JsonLimits limits{std::size_t{1} << 20, 8};

model::Winding read_winding(ObjectReader& from, bool ground) {
    model::Winding winding;
    winding.diameter_m = from.quantity("diameter", Unit::metre);
    winding.length_m = from.quantity("length", Unit::metre);
    winding.turns = from.quantity("turns", Unit::turn);
    winding.wire_diameter_m = from.quantity("wire", Unit::metre);
    if (ground && !from.has("base_height")) from.miss("base_height");
    winding.base_height_m = from.optional_quantity("base_height", Unit::metre).value_or(0);
    winding.temperature_c = from.optional_quantity("temperature", Unit::celsius).value_or(winding.temperature_c);
    winding.overall_wire_diameter_m = from.optional_quantity("wire_overall", Unit::metre);
    return winding;
}

model::TopLoadBody read_body(ObjectReader& from) {
    const std::string shape = from.text("shape");
    const double height_m = from.quantity("height", Unit::metre);
    if (shape == "toroid") {
        return model::Toroid{from.quantity("outer_diameter", Unit::metre), from.quantity("tube_diameter", Unit::metre),
                             height_m};
    }
    const double diameter_m = from.quantity("diameter", Unit::metre);
    if (shape == "sphere") return model::Sphere{diameter_m, height_m};
    return model::Disc{diameter_m, height_m};
}

model::Surroundings read_surroundings(ObjectReader& from) {
    model::Surroundings surroundings;
    surroundings.ground = from.boolean_or("ground", true);
    surroundings.wall_radius_m = from.optional_quantity("wall_radius", Unit::metre);
    surroundings.ceiling_height_m = from.optional_quantity("ceiling_height", Unit::metre);
    if (auto ring = from.object("strike_ring", {"diameter", "tube_diameter", "height"})) {
        surroundings.strike_ring = model::Surroundings::StrikeRing{ring->quantity("diameter", Unit::metre),
                                                                   ring->quantity("tube_diameter", Unit::metre),
                                                                   ring->quantity("height", Unit::metre)};
    }
    return surroundings;
}

model::Primary read_primary(ObjectReader& from, bool ground) {
    model::Primary primary;
    primary.inner_diameter_m = from.quantity("inner_diameter", Unit::metre);
    primary.pitch_m = from.quantity("pitch", Unit::metre);
    primary.turns = from.quantity("turns", Unit::turn);
    primary.conductor_diameter_m = from.quantity("conductor", Unit::metre);
    primary.angle_deg = from.optional_quantity("angle", Unit::degree).value_or(0);
    if (ground && !from.has("base_height")) from.miss("base_height");
    primary.base_height_m = from.optional_quantity("base_height", Unit::metre).value_or(0);
    return primary;
}

model::Tank read_tank(ObjectReader& from) {
    model::Tank tank;
    tank.capacitance_f = from.quantity("capacitance", Unit::farad);
    tank.tap_turns = from.optional_quantity("tap_turns", Unit::turn);
    tank.lead_inductance_h = from.optional_quantity("lead_inductance", Unit::henry).value_or(0);
    return tank;
}

model::Tolerances read_tolerances(ObjectReader& from) {
    const auto limit = [&](std::string_view key, Unit unit) {
        const auto value = from.optional_quantity(key, unit);
        if (value && *value < 0) from.fail(key, "a tolerance is a plus/minus limit: write it without a sign");
        return value;
    };
    model::Tolerances tolerances;
    tolerances.diameter_m = limit("diameter", Unit::metre);
    tolerances.length_m = limit("length", Unit::metre);
    tolerances.turns = limit("turns", Unit::turn);
    tolerances.base_height_m = limit("base_height", Unit::metre);
    tolerances.topload_relative = limit("topload", Unit::ratio);
    tolerances.primary_relative = limit("primary", Unit::ratio);
    tolerances.tank_capacitance_relative = limit("tank_capacitance", Unit::ratio);
    tolerances.lead_inductance_h = limit("lead_inductance", Unit::henry);
    if (tolerances.topload_relative && *tolerances.topload_relative >= 1) {
        from.fail("topload", "a relative tolerance lies below 100 %; write one like 2% or 0.02");
    }
    return tolerances;
}

}  // namespace

Result<model::CoilDescription> parse_coil(std::string_view json_text, std::string_view origin) {
    const auto json = parse_json(json_text, origin, limits);
    if (!json) return json.error();
    ObjectReader root(*json, origin, {"name", "secondary", "topload", "surroundings", "primary", "tank", "tolerances"});
    model::CoilDescription coil;
    coil.name = root.text_or("name", "");
    if (auto from = root.object("surroundings", {"ground", "wall_radius", "ceiling_height", "strike_ring"})) {
        coil.surroundings = read_surroundings(*from);
    }
    const bool ground = coil.surroundings.ground;
    if (auto from = root.object(
            "secondary", {"diameter", "length", "turns", "wire", "base_height", "temperature", "wire_overall"})) {
        coil.secondary = read_winding(*from, ground);
    } else {
        root.miss("secondary");
    }
    for (ObjectReader& body : root.objects_of_kinds("topload", "shape",
                                                    {{"toroid", {"outer_diameter", "tube_diameter", "height"}},
                                                     {"sphere", {"diameter", "height"}},
                                                     {"disc", {"diameter", "height"}}})) {
        coil.topload.push_back(read_body(body));
    }
    if (auto from = root.object("primary", {"inner_diameter", "pitch", "turns", "conductor", "angle", "base_height"})) {
        coil.primary = read_primary(*from, ground);
    }
    if (auto from = root.object("tank", {"capacitance", "tap_turns", "lead_inductance"})) coil.tank = read_tank(*from);
    if (auto from = root.object("tolerances", {"diameter", "length", "turns", "base_height", "topload", "primary",
                                               "tank_capacitance", "lead_inductance"})) {
        coil.tolerances = read_tolerances(*from);
    }
    if (root.error()) return *root.error();
    if (const Status possible = model::check_geometry(coil); !possible) {
        return Error{possible.error().kind, one_line(origin, 200) + ": " + possible.error().message};
    }
    return coil;
}

Result<model::CoilDescription> read_coil(const std::filesystem::path& path) {
    const auto text = read_text(path, limits.bytes);
    if (!text) return text.error();
    return parse_coil(*text, path.string());
}

}  // namespace coldtune::record
