#include "analyzer/measure/spark_source.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/measure/known_result.hpp"
#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/record/json_text.hpp"

namespace coldtune::measure {
namespace {

using record::Json;

std::optional<double> positive(const Json& object, const char* key) {
    const Json* found = record::member(object, key);
    if (found == nullptr || !found->is_number()) return std::nullopt;
    const double value = found->get<double>();
    return std::isfinite(value) && value > 0 ? std::optional(value) : std::nullopt;
}

// A half-width narrower than its value; a wider one tells nothing, nullopt as for anything else.
std::optional<double> half_width(const Json& object, const char* key, double value) {
    const auto u95 = positive(object, key);
    return u95 && *u95 <= value ? u95 : std::nullopt;
}

Error no_half_width(std::string_view origin, const char* key) {
    return bad_input(
        fmt::format("{}: {} is missing, not positive or wider than its value; measure again", origin, key));
}

Result<Json> accepted(std::string_view text, std::string_view origin) {
    record::JsonLimits limits;
    limits.bytes = kLongestResult;
    auto json = record::parse_json(text, origin, limits);
    if (!json) return json.error();
    const Json* schema = record::member(*json, "schema");
    if (schema == nullptr || *schema != "coldtune.result.v1") {
        return bad_input(fmt::format("{}: not a result (schema coldtune.result.v1)", origin));
    }
    if (const Status fine = require_accepted(*json, origin); !fine) return fine.error();
    return json;
}

bool hookup_is(const Json& json, std::initializer_list<const char*> names) {
    const Json* hookup = record::member(json, "hookup");
    for (const char* name : names) {
        if (hookup != nullptr && *hookup == name) return true;
    }
    return false;
}

Result<CircuitValues> circuit(std::string_view text, std::string_view origin,
                              std::initializer_list<const char*> hookups, const char* expected) {
    const auto json = accepted(text, origin);
    if (!json) return json.error();
    const Json* resonance = record::member(*json, "resonance");
    const auto frequency = resonance != nullptr ? positive(*resonance, "frequency_hz") : std::nullopt;
    if (!frequency || !hookup_is(*json, hookups)) {
        return bad_input(fmt::format("{}: holds no resonance of {}", origin, expected));
    }
    CircuitValues values;
    values.frequency_hz = *frequency;
    const auto frequency_u95 = half_width(*resonance, "frequency_u95_hz", values.frequency_hz);
    if (!frequency_u95) return no_half_width(origin, "frequency_u95_hz");
    values.frequency_u95_hz = *frequency_u95;
    // Not every way knows a Q.
    values.q = positive(*resonance, "q");
    if (values.q) {
        const auto q_u95 = half_width(*resonance, "q_u95", *values.q);
        if (!q_u95) return no_half_width(origin, "q_u95");
        values.q_u95 = *q_u95;
    }
    return values;
}

template <typename T>
Result<T> from_file(const std::filesystem::path& path, Result<T> (*parse)(std::string_view, std::string_view),
                    std::string_view wanted) {
    const auto text = record::read_text(path, kLongestResult);
    if (!text) return text.error();
    auto parsed = parse(*text, path.string());
    // Who names a file is at the command line.
    if (!parsed && parsed.error().kind == ErrorKind::bad_input) {
        return bad_input(fmt::format("{}; give the output of {}", parsed.error().message, wanted));
    }
    return parsed;
}

}  // namespace

Result<CircuitValues> parse_secondary(std::string_view text, std::string_view origin) {
    return circuit(text, origin, {"foot", "pickup"}, "a secondary (hookup foot or pickup)");
}

Result<CircuitValues> parse_tank(std::string_view text, std::string_view origin) {
    return circuit(text, origin, {"tank"}, "a tank (hookup tank)");
}

Result<CouplingValue> parse_winding_coupling(std::string_view text, std::string_view origin) {
    const auto json = accepted(text, origin);
    if (!json) return json.error();
    const Json* coupling = record::member(*json, "coupling");
    const auto k = coupling != nullptr ? positive(*coupling, "k") : std::nullopt;
    if (!k) {
        return bad_input(fmt::format(
            "{}: holds no coupling: that takes the winding once with the primary open and once with it shorted",
            origin));
    }
    const auto u95 = half_width(*coupling, "k_u95", *k);
    if (!u95) return no_half_width(origin, "k_u95");
    return CouplingValue{*k, *u95};
}

Result<SparkInputs> parse_pair(std::string_view text, std::string_view origin) {
    const auto json = accepted(text, origin);
    if (!json) return json.error();
    const auto none = bad_input(
        fmt::format("{}: holds no pair: that takes the foot with the tank closed, both peaks sought together", origin));
    const Json* found = record::member(*json, "pair");
    if (found == nullptr) return none;
    constexpr std::array<const char*, 5> names = {"primary_frequency_hz", "secondary_frequency_hz", "primary_q",
                                                  "secondary_q", "k"};
    constexpr std::array<const char*, 5> widths = {"primary_frequency_u95_hz", "secondary_frequency_u95_hz",
                                                   "primary_q_u95", "secondary_q_u95", "k_u95"};
    std::array<double, 5> value{}, u95{};
    for (std::size_t i = 0; i < 5; ++i) {
        const auto here = positive(*found, names[i]);
        if (!here) return none;
        value[i] = *here;
        const auto narrower = half_width(*found, widths[i], *here);
        if (!narrower) return no_half_width(origin, widths[i]);
        u95[i] = *narrower;
    }
    SparkInputs inputs;
    inputs.value = {value[0], value[1], value[2], value[3], value[4]};
    inputs.u95 = {u95[0], u95[1], u95[2], u95[3], u95[4]};
    inputs.sources = {fmt::format("both circuits and k measured together: {}", origin)};
    if (const Json* described = record::member(*json, "described"); described != nullptr) {
        inputs.described = described_of(*described);
    }
    if (const Json* matrix = record::member(*found, "correlation");
        matrix != nullptr && matrix->is_array() && matrix->size() == 5) {
        std::array<std::array<double, 5>, 5> correlation{};
        bool whole = true;
        for (std::size_t i = 0; i < 5; ++i) {
            const Json& row = (*matrix)[i];
            whole = whole && row.is_array() && row.size() == 5;
            for (std::size_t k = 0; whole && k < 5; ++k) {
                whole = row[k].is_number() && std::abs(row[k].get<double>()) <= 1 + 1e-9;
                if (whole) correlation[i][k] = row[k].get<double>();
            }
        }
        if (whole) inputs.correlation = correlation;
    }
    return inputs;
}

Result<CircuitValues> read_secondary(const std::filesystem::path& path) {
    return from_file(path, parse_secondary, "analyze --hookup foot --json");
}
Result<CircuitValues> read_tank(const std::filesystem::path& path) {
    return from_file(path, parse_tank, "analyze --hookup tank --json");
}
Result<CouplingValue> read_winding_coupling(const std::filesystem::path& path) {
    return from_file(path, parse_winding_coupling, "analyze --hookup winding --shorted ... --json");
}
Result<SparkInputs> read_pair(const std::filesystem::path& path) {
    return from_file(path, parse_pair, "analyze --hookup foot --coupled --json");
}

Result<SparkCoil> spark_coil(const model::CoilDescription& coil) {
    const auto pair = model::make_coupled_pair(coil);
    if (!pair) return pair.error();
    const model::TwoModes modes = pair->two_modes();
    return SparkCoil{coil.tank->capacitance_f, modes.head_capacitance_f, modes.coupling / modes.uniform_coupling};
}

void take_coupling(SparkInputs& inputs, const CouplingValue& measured, std::string_view name,
                   const std::optional<SparkCoil>& coil) {
    const double ratio = coil ? coil->coupling_ratio : 1;
    inputs.value.k = ratio * measured.k;
    inputs.u95.k = ratio * measured.k_u95;
    inputs.sources.push_back(coil ? fmt::format("k from {}, times {:.3f}: the oscillating secondary carries more "
                                                "current beside the primary than a uniform one",
                                                name, ratio)
                                  : fmt::format("k from {}, of a uniform current; the oscillating pair's is some per "
                                                "cent larger (the coil's description says how much)",
                                                name));
}

}  // namespace coldtune::measure
