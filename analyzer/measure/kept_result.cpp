#include "analyzer/measure/kept_result.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::measure {
namespace {

using record::Json;

constexpr std::size_t kLongestFile = std::size_t{256} << 20;

// Keeps the first thing that was wrong; after it every read returns the harmless default.
class Reader {
public:
    explicit Reader(std::string_view origin) : origin_(origin) {}

    [[nodiscard]] const std::optional<Error>& error() const { return error_; }
    void fail(const std::string& path, std::string_view what) {
        if (!error_) {
            error_ = bad_input(fmt::format("{}: {}{}; give the output of analyze --json --curve",
                                           record::one_line(origin_, 200), path.empty() ? "" : path + ": ", what));
        }
    }
    // Null and absent are the same.
    static const Json* find(const Json& object, const char* key) {
        const auto at = object.find(key);
        return at == object.end() || at->is_null() ? nullptr : &*at;
    }
    const Json* object(const Json& parent, const char* key) {
        return typed(parent, key, &Json::is_object, "an object");
    }
    const Json* array(const Json& parent, const char* key) { return typed(parent, key, &Json::is_array, "a list"); }

    double number(const Json& object, const std::string& path, const char* key, bool positive) {
        const std::optional<double> value = optional_number(object, path, key);
        if (!value) fail(path + key, "is missing");
        if (value && positive && !(*value > 0)) fail(path + key, "must be greater than 0");
        return value.value_or(0);
    }
    std::optional<double> optional_number(const Json& object, const std::string& path, const char* key) {
        const Json* found = find(object, key);
        if (found == nullptr) return std::nullopt;
        if (!found->is_number() || !std::isfinite(found->get<double>())) {
            fail(path + key, "must be a number");
            return std::nullopt;
        }
        return found->get<double>();
    }
    std::size_t count(const Json& object, const char* key) {
        const double value = optional_number(object, "", key).value_or(0);
        if (!(value >= 0 && value <= 1e15)) fail(key, "must be a count");
        return error_ ? 0 : static_cast<std::size_t>(value);
    }
    std::string text(const Json& object, const std::string& path, const char* key) {
        const Json* found = find(object, key);
        if (found == nullptr) return {};
        if (!found->is_string()) {
            fail(path + key, "must be a text");
            return {};
        }
        return found->get<std::string>();
    }
    dsp::Band band(const Json& object, const std::string& path, const char* key) {
        const Json* found = find(object, key);
        if (found == nullptr) return {};
        if (!found->is_array() || found->size() != 2 || !(*found)[0].is_number() || !(*found)[1].is_number()) {
            fail(path + key, "must be two frequencies");
            return {};
        }
        return {(*found)[0].get<double>(), (*found)[1].get<double>()};
    }
    // Numbers, null as NaN.
    std::vector<double> column(const Json& object, const std::string& path, const char* key) {
        std::vector<double> values;
        const Json* found = array(object, key);
        if (found == nullptr) return values;
        values.reserve(found->size());
        for (const Json& v : *found) {
            if (!v.is_number() && !v.is_null()) {
                fail(path + key, fmt::format("entry {} is no number", values.size() + 1));
                return {};
            }
            values.push_back(v.is_null() ? std::numeric_limits<double>::quiet_NaN() : v.get<double>());
        }
        return values;
    }

private:
    const Json* typed(const Json& parent, const char* key, bool (Json::*is)() const noexcept, const char* what) {
        const Json* found = find(parent, key);
        if (found == nullptr || (found->*is)()) return found;
        fail(key, fmt::format("must be {}", what));
        return nullptr;
    }

    std::string origin_;
    std::optional<Error> error_;
};

std::vector<Finding> findings_of(Reader& reader, const Json& json) {
    std::vector<Finding> findings;
    const Json* list = reader.array(json, "findings");
    if (list == nullptr) return findings;
    for (const Json& f : *list) {
        const std::string path = fmt::format("findings[{}].", findings.size());
        if (!f.is_object()) {
            reader.fail(path, "must be an object");
            return {};
        }
        const std::string code = reader.text(f, path, "code"), weight = reader.text(f, path, "weight");
        const auto codes = all_finding_codes();
        const auto known =
            std::find_if(codes.begin(), codes.end(), [&](FindingCode c) { return code_name(c) == code; });
        if (known == codes.end()) {
            reader.fail(path + "code", fmt::format("{} is no finding", record::in_quotes(code)));
            return {};
        }
        if (weight != "note" && weight != "caution" && weight != "reject") {
            reader.fail(path + "weight", "must be note, caution or reject");
            return {};
        }
        findings.push_back({*known,
                            weight == "note"      ? Weight::note
                            : weight == "caution" ? Weight::caution
                                                  : Weight::reject,
                            reader.text(f, path, "text")});
    }
    return findings;
}

Resonance resonance_of(Reader& reader, const Json& json) {
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

WindingValue winding_of(Reader& reader, const Json& json) {
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

model::Calculated calculated_of(Reader& reader, const Json& json) {
    const std::string path = "calculated.";
    const auto optional = [&](const char* key) { return reader.optional_number(json, path, key).value_or(0); };
    model::Calculated c;
    c.frequency_hz = reader.number(json, path, "frequency_hz", true);
    c.frequency_u95_hz = optional("frequency_u95_hz");
    c.inductance_h = optional("inductance_h");
    c.capacitance_f = optional("capacitance_f");
    c.low_frequency_inductance_h = optional("low_frequency_inductance_h");
    c.q = optional("q");
    c.resistance_ohm = optional("resistance_ohm");
    c.dc_resistance_ohm = optional("dc_resistance_ohm");
    c.wire_length_m = optional("wire_length_m");
    return c;
}

Curve curve_of(Reader& reader, const Json& json) {
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

}  // namespace

Result<MeasurementResult> result_from_json(const nlohmann::ordered_json& json, std::string_view origin) {
    Reader reader(origin);
    if (!json.is_object() || Reader::find(json, "schema") == nullptr || json["schema"] != "coldtune.result.v1") {
        reader.fail("", "not a result (schema coldtune.result.v1)");
        return *reader.error();
    }
    MeasurementResult result;
    const std::string hookup = reader.text(json, "", "hookup"), verdict = reader.text(json, "", "verdict");
    if (const auto named = bench::hookup_from_name(hookup)) {
        result.hookup = *named;
    } else {
        reader.fail("hookup", fmt::format("{} is no hookup", record::in_quotes(hookup)));
    }
    result.findings = findings_of(reader, json);
    if (!reader.error() && verdict != verdict_name(result.verdict())) {
        reader.fail("verdict", fmt::format("{} is not what the findings give ({})", record::in_quotes(verdict),
                                           verdict_name(result.verdict())));
    }
    const Json* resonance = reader.object(json, "resonance");
    const Json* winding = reader.object(json, "winding");
    const Json* coupling = reader.object(json, "coupling");
    if (result.verdict() == Verdict::rejected) {
        result.outcome = Rejected{};
        if (resonance != nullptr || winding != nullptr || coupling != nullptr) {
            reader.fail("verdict", "is rejected, yet there is a value in it");
        }
    } else {
        Accepted accepted;
        if (resonance != nullptr) accepted.resonance = resonance_of(reader, *resonance);
        if (winding != nullptr) accepted.winding = winding_of(reader, *winding);
        if (coupling != nullptr) {
            accepted.coupling = Coupling{reader.number(*coupling, "coupling.", "k", true),
                                         reader.optional_number(*coupling, "coupling.", "k_u95").value_or(0),
                                         reader.number(*coupling, "coupling.", "shorted_inductance_h", true)};
        }
        result.outcome = std::move(accepted);
    }
    result.sample_rate_hz = reader.optional_number(json, "", "sample_rate_hz").value_or(0);
    result.averages = reader.count(json, "averages");
    result.clock_drift_ppm = reader.optional_number(json, "", "clock_drift_ppm");
    if (Reader::find(json, "usable_band_hz") != nullptr)
        result.usable_band_hz = reader.band(json, "", "usable_band_hz");
    result.reason_for_way = reader.text(json, "", "reason_for_way");
    if (const Json* calculated = reader.object(json, "calculated")) {
        result.calculated = calculated_of(reader, *calculated);
    }
    if (const Json* curve = reader.object(json, "curve")) result.curve = curve_of(reader, *curve);
    if (reader.error()) return *reader.error();
    return result;
}

Result<MeasurementResult> read_kept_result(const std::filesystem::path& path) {
    record::JsonLimits limits;
    limits.bytes = kLongestFile;
    const auto json = record::read_json(path, limits);
    if (!json) return json.error();
    return result_from_json(*json, path.string());
}

}  // namespace coldtune::measure
