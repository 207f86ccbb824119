#include "analyzer/measure/kept_values.hpp"

#include <algorithm>

namespace coldtune::measure {

using record::Json;

Resonance resonance_of(KeptReader& reader, const Json& json) {
    const std::string path = "resonance.";
    Resonance r;
    const std::string way = reader.text(json, path, "way");
    if (way == way_name(Way::in_band)) {
        r.way = Way::in_band;
    } else if (way == way_name(Way::below_band)) {
        r.way = Way::below_band;
    } else if (way == way_name(Way::loading_series)) {
        r.way = Way::loading_series;
    } else {
        reader.fail(path + "way", fmt::format("{} is no way to a resonance", record::in_quotes(way)));
    }
    r.frequency_hz = reader.number(json, path, "frequency_hz", true);
    r.frequency_u95_hz = reader.optional_number(json, path, "frequency_u95_hz").value_or(0);
    r.q = reader.optional_number(json, path, "q");
    r.q_u95 = reader.optional_number(json, path, "q_u95");
    r.resistance_ohm = reader.optional_number(json, path, "resistance_ohm");
    r.resistance_u95_ohm = reader.optional_number(json, path, "resistance_u95_ohm");
    r.chi_square = reader.optional_number(json, path, "chi_square").value_or(0);
    r.degrees_of_freedom = reader.count(json, "degrees_of_freedom");
    r.fit_window = reader.band(json, path, "fit_window_hz");
    r.other_peaks_hz = reader.column(json, path, "other_peaks_hz");
    r.loaded_q = reader.optional_number(json, path, "loaded_q");
    r.input_corner_hz = reader.optional_number(json, path, "input_corner_hz");
    if (const Json* budget = reader.array(json, "budget")) {
        for (const Json& line : *budget) {
            if (!line.is_object()) break;
            r.budget.push_back({reader.text(line, path + "budget.", "source"),
                                reader.optional_number(line, path + "budget.", "frequency_u_hz").value_or(0),
                                reader.optional_number(line, path + "budget.", "q_u").value_or(0),
                                reader.optional_number(line, path + "budget.", "resistance_u_ohm").value_or(0)});
        }
    }
    if (const Json* checks = reader.array(json, "cross_checks")) {
        for (const Json& c : *checks) {
            if (!c.is_object()) break;
            r.cross_checks.push_back({reader.text(c, path + "cross_checks.", "route"),
                                      reader.optional_number(c, path + "cross_checks.", "q").value_or(0)});
        }
    }
    return r;
}

WindingValue winding_of(KeptReader& reader, const Json& json) {
    const std::string path = "winding.";
    WindingValue w;
    w.inductance_h = reader.number(json, path, "inductance_h", true);
    w.inductance_u95_h = reader.optional_number(json, path, "inductance_u95_h").value_or(0);
    w.resistance_ohm = reader.optional_number(json, path, "resistance_ohm").value_or(0);
    w.resistance_u95_ohm = reader.optional_number(json, path, "resistance_u95_ohm").value_or(0);
    w.own_capacitance_f = reader.optional_number(json, path, "own_capacitance_f").value_or(0);
    w.own_capacitance_u95_f = reader.optional_number(json, path, "own_capacitance_u95_f").value_or(0);
    w.window = reader.band(json, path, "window_hz");
    if (const Json* points = reader.array(json, "resistance_curve")) {
        for (const Json& p : *points) {
            if (!p.is_object()) break;
            w.resistance_curve.push_back({reader.number(p, path + "resistance_curve.", "frequency_hz", true),
                                          reader.optional_number(p, path, "resistance_ohm").value_or(0)});
        }
    }
    if (const Json* budget = reader.array(json, "budget")) {
        for (const Json& line : *budget) {
            if (!line.is_object()) break;
            w.budget.push_back({reader.text(line, path + "budget.", "source"),
                                reader.optional_number(line, path + "budget.", "inductance_u_h").value_or(0),
                                reader.optional_number(line, path + "budget.", "resistance_u_ohm").value_or(0)});
        }
    }
    return w;
}

TankValue tank_of(KeptReader& reader, const Json& json) {
    const std::string path = "tank.";
    TankValue t;
    t.inductance_h = reader.number(json, path, "inductance_h", true);
    t.inductance_u95_h = reader.optional_number(json, path, "inductance_u95_h").value_or(0);
    t.capacitance_f = reader.number(json, path, "capacitance_f", true);
    t.capacitance_u95_f = reader.optional_number(json, path, "capacitance_u95_f").value_or(0);
    t.resistance_ohm = reader.optional_number(json, path, "resistance_ohm");
    return t;
}

Coupling coupling_of(KeptReader& reader, const Json& json) {
    const std::string path = "coupling.";
    Coupling c;
    c.k = reader.number(json, path, "k", true);
    c.k_u95 = reader.optional_number(json, path, "k_u95").value_or(0);
    c.shorted_inductance_h = reader.number(json, path, "shorted_inductance_h", true);
    c.primary_inductance_h = reader.optional_number(json, path, "primary_inductance_h").value_or(0);
    if (const Json* described = KeptReader::find(json, "primary_described")) {
        c.primary_described = described->is_boolean() && described->get<bool>();
    }
    if (const Json* budget = reader.array(json, "budget")) {
        for (const Json& line : *budget) {
            if (!line.is_object()) break;
            c.budget.push_back({reader.text(line, path + "budget.", "source"),
                                reader.optional_number(line, path + "budget.", "k_u").value_or(0)});
        }
    }
    return c;
}

Pair pair_of(KeptReader& reader, const Json& json) {
    const std::string path = "pair.";
    const auto number = [&](const char* key) { return reader.number(json, path, key, true); };
    const auto half_width = [&](const char* key) { return reader.optional_number(json, path, key).value_or(0); };
    const auto peak = [&](const char* key) {
        const Json* found = KeptReader::find(json, key);
        if (found == nullptr || !found->is_object()) {
            reader.fail(path + key, "must be an object");
            return Pair::Peak{};
        }
        const std::string below = path + key + ".";
        return Pair::Peak{reader.number(*found, below, "frequency_hz", true),
                          reader.optional_number(*found, below, "frequency_u95_hz").value_or(0),
                          reader.optional_number(*found, below, "conductance_s").value_or(0)};
    };
    Pair p;
    p.primary_frequency_hz = number("primary_frequency_hz");
    p.primary_frequency_u95_hz = half_width("primary_frequency_u95_hz");
    p.secondary_frequency_hz = number("secondary_frequency_hz");
    p.secondary_frequency_u95_hz = half_width("secondary_frequency_u95_hz");
    p.primary_q = number("primary_q");
    p.primary_q_u95 = half_width("primary_q_u95");
    p.secondary_q = number("secondary_q");
    p.secondary_q_u95 = half_width("secondary_q_u95");
    p.k = number("k");
    p.k_u95 = half_width("k_u95");
    p.lower = peak("lower");
    p.upper = peak("upper");
    p.chi_square = half_width("chi_square");
    p.degrees_of_freedom = reader.count(json, "degrees_of_freedom");
    p.shape_described = reader.text(json, path, "current_form") == "described";
    if (const Json* rows = reader.array(json, "correlation")) {
        for (std::size_t i = 0; i < std::min(rows->size(), p.correlation.size()); ++i) {
            const Json& row = (*rows)[i];
            for (std::size_t k = 0; row.is_array() && k < std::min(row.size(), p.correlation[i].size()); ++k) {
                if (row[k].is_number()) p.correlation[i][k] = row[k].get<double>();
            }
        }
    }
    if (const Json* windows = reader.array(json, "fit_windows_hz")) {
        for (std::size_t i = 0; i < std::min(windows->size(), p.fit_windows.size()); ++i) {
            p.fit_windows[i] = reader.band({{"window", (*windows)[i]}}, path + "fit_windows_hz.", "window");
        }
    }
    if (const Json* budget = reader.array(json, "budget")) {
        for (const Json& line : *budget) {
            if (!line.is_object()) break;
            const auto u = [&](const char* key) {
                return reader.optional_number(line, path + "budget.", key).value_or(0);
            };
            p.budget.push_back({reader.text(line, path + "budget.", "source"), u("primary_frequency_u_hz"),
                                u("secondary_frequency_u_hz"), u("primary_q_u"), u("secondary_q_u"), u("k_u")});
        }
    }
    return p;
}

model::TankCalculated calculated_tank_of(KeptReader& reader, const Json& json) {
    const std::string path = "calculated.";
    const auto optional = [&](const char* key) { return reader.optional_number(json, path, key).value_or(0); };
    model::TankCalculated c;
    c.frequency_hz = reader.number(json, path, "frequency_hz", true);
    c.frequency_u95_hz = optional("frequency_u95_hz");
    c.inductance_h = optional("inductance_h");
    c.inductance_u95_h = optional("inductance_u95_h");
    c.capacitance_f = optional("capacitance_f");
    c.capacitance_u95_f = optional("capacitance_u95_f");
    return c;
}

model::Calculated calculated_of(KeptReader& reader, const Json& json) {
    const std::string path = "calculated.";
    const auto optional = [&](const char* key) { return reader.optional_number(json, path, key).value_or(0); };
    model::Calculated c;
    c.frequency_hz = reader.number(json, path, "frequency_hz", true);
    c.frequency_u95_hz = optional("frequency_u95_hz");
    c.inductance_h = optional("inductance_h");
    c.capacitance_f = optional("capacitance_f");
    c.low_frequency_inductance_h = optional("low_frequency_inductance_h");
    c.low_frequency_inductance_u95_h =
        reader.optional_number(json, path, "low_frequency_inductance_u95_h").value_or(-1);
    c.q = optional("q");
    c.resistance_ohm = optional("resistance_ohm");
    c.dc_resistance_ohm = optional("dc_resistance_ohm");
    c.wire_length_m = optional("wire_length_m");
    return c;
}

Curve curve_of(KeptReader& reader, const Json& json) {
    const std::string path = "curve.";
    Curve curve;
    curve.frequency_hz = reader.column(json, path, "frequency_hz");
    const auto real = reader.column(json, path, "impedance_real_ohm");
    const auto imaginary = reader.column(json, path, "impedance_imaginary_ohm");
    curve.standard_deviation_ohm = reader.column(json, path, "standard_deviation_ohm");
    const std::size_t n = curve.frequency_hz.size();
    const bool deviations = curve.standard_deviation_ohm.empty() || curve.standard_deviation_ohm.size() == n;
    if (real.size() != n || imaginary.size() != n || !deviations) {
        reader.fail("curve", "its columns are not of one length");
        return {};
    }
    for (std::size_t k = 0; k < n; ++k) {
        if (!(curve.frequency_hz[k] > (k == 0 ? 0 : curve.frequency_hz[k - 1]))) {
            reader.fail("curve.frequency_hz", fmt::format("entry {} does not rise", k + 1));
            return {};
        }
        curve.impedance_ohm.emplace_back(real[k], imaginary[k]);
    }
    return curve;
}

}  // namespace coldtune::measure
