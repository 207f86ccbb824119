#include "analyzer/measure/known_result.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"

namespace coldtune::measure {
namespace {

using record::Json;

// Of any figure in a result, in its SI unit: hertz, henry, farad.
constexpr double kSmallest = 1e-18, kLargest = 1e12;

// A coil and another one's description may part by several times; a prefix that slipped when the file was edited is a
// thousand.
constexpr double kFarthestFromCalculated = 30;

// The first thing that was wrong, with the path of the key.
class Reader {
public:
    explicit Reader(std::string_view origin) : origin_(origin) {}

    // A finite number greater than `above` and not beyond `most`; 0 and an error otherwise.
    double number(const Json& object, const char* key, const std::string& path, double above, double most = kLargest) {
        const Json* found = record::member(object, key);
        if (found == nullptr || !found->is_number()) {
            fail(fmt::format("{}{} is missing or not a number", path, key));
            return 0;
        }
        const double value = found->get<double>();
        if (!std::isfinite(value) || !(value > above)) {
            fail(fmt::format("{}{} must be greater than {}", path, key, above));
            return 0;
        }
        if (value > most) {
            fail(fmt::format("{}{} is {:g}, more than {:g}, so that it tells nothing", path, key, value, most));
            return 0;
        }
        return value;
    }
    void fail(const std::string& what) {
        if (!error_) error_ = bad_input(fmt::format("{}: {}", origin_, what));
    }
    [[nodiscard]] const std::optional<Error>& error() const { return error_; }

private:
    std::string origin_;
    std::optional<Error> error_;
};

// Value, half-width and the budget's column `u_key`.
KnownValue value_of(Reader& reader, const Json& object, const std::string& path, const char* value_key,
                    const char* u95_key, const Json* budget, const char* u_key) {
    KnownValue known;
    known.value = reader.number(object, value_key, path, kSmallest);
    // Wider than the value itself it says nothing.
    known.u95 = reader.number(object, u95_key, path, 0, known.value);
    if (reader.error()) return known;
    const double whole = known.u95 / 2 / known.value;
    double explained = 0;
    if (budget != nullptr && budget->is_array()) {
        for (const Json& line : *budget) {
            const Json* source = record::member(line, "source");
            if (source == nullptr || !source->is_string()) {
                reader.fail(path + "budget holds a line without source");
                return known;
            }
            const Json* u = record::member(line, u_key);
            const double size = u != nullptr && u->is_number() ? std::abs(u->get<double>()) / known.value : 0;
            if (!(size > 0) || !std::isfinite(size)) continue;
            known.parts.push_back({source->get<std::string>(), size});
            explained = std::hypot(explained, size);
        }
    }
    // A budget that says more than the stated half-width is scaled to it; one that says less leaves a rest.
    if (explained > whole) {
        for (auto& part : known.parts) part.relative_u *= whole / explained;
    } else {
        const double rest = std::sqrt(whole * whole - explained * explained);
        if (rest > 1e-6 * whole) known.parts.push_back({"other", rest});
    }
    return known;
}

std::string text_or_empty(const Json* json) {
    return json != nullptr && json->is_string() ? json->get<std::string>() : std::string();
}

void read_circumstances(const Json& json, KnownResult& known) {
    if (const Json* d = record::member(json, "described"); d != nullptr) known.described = described_of(*d);
    if (const Json* b = record::member(json, "bench"); b != nullptr) known.bench = bench_of(*b);
    const Json* findings = record::member(json, "findings");
    if (findings == nullptr || !findings->is_array()) return;
    for (const Json& f : *findings) {
        known.findings.push_back({text_or_empty(record::member(f, "code")), text_or_empty(record::member(f, "weight")),
                                  text_or_empty(record::member(f, "text"))});
    }
}

enum class Welcome { secondary, anything };

// What combine --json printed.
Result<KnownResult> interpret_combined(const Json& json, std::string_view origin) {
    Reader reader(origin);
    KnownResult known;
    known.name = origin;
    known.way = "combined";
    const Json* r = record::member(json, "resonance");
    if (r == nullptr) {
        reader.fail("no resonance in it");
        return *reader.error();
    }
    known.resonance = value_of(reader, *r, "resonance.", "frequency_hz", "frequency_u95_hz", nullptr, "");
    if (const Json* c = record::member(json, "calculated"); c != nullptr) {
        known.calculated_hz = reader.number(*c, "frequency_hz", "calculated.", 0);
    }
    if (reader.error()) return *reader.error();
    return known;
}

Result<KnownResult> interpret(const Json& json, std::string_view origin, Welcome welcome) {
    Reader reader(origin);
    const Json* schema = record::member(json, "schema");
    const bool combined = welcome == Welcome::anything && schema != nullptr && *schema == "coldtune.combined.v1";
    if (schema == nullptr || (*schema != "coldtune.result.v1" && !combined)) {
        reader.fail("not a result (schema coldtune.result.v1)");
        return *reader.error();
    }
    if (const Status fine = require_accepted(json, origin); !fine) return fine.error();
    if (combined) return interpret_combined(json, origin);
    KnownResult known;
    known.name = origin;
    read_circumstances(json, known);
    const Json* hookup = record::member(json, "hookup");
    const auto named =
        hookup != nullptr && hookup->is_string() ? bench::hookup_from_name(hookup->get<std::string>()) : std::nullopt;
    if (!named) {
        reader.fail("hookup is missing or unknown");
        return *reader.error();
    }
    known.hookup = *named;
    const bool head_free = known.hookup == bench::Hookup::foot || known.hookup == bench::Hookup::pickup;
    const bool tank = known.hookup == bench::Hookup::tank && welcome == Welcome::anything;
    if (!head_free && !tank && known.hookup != bench::Hookup::winding) {
        return bad_input(
            fmt::format("{}: hookup {} says nothing about the secondary; give results of foot, pickup, winding or a "
                        "loading series",
                        origin, bench::describe(known.hookup).name));
    }
    if (const Json* r = record::member(json, "resonance"); r != nullptr && (head_free || tank)) {
        (tank ? known.tank_resonance : known.resonance) =
            value_of(reader, *r, "resonance.", "frequency_hz", "frequency_u95_hz", record::member(*r, "budget"),
                     "frequency_u_hz");
        const Json* way = record::member(*r, "way");
        known.way = way != nullptr && way->is_string() ? way->get<std::string>() : std::string();
        const std::array ways{Way::in_band, Way::below_band, Way::loading_series};
        if (std::none_of(ways.begin(), ways.end(), [&](Way w) { return known.way == way_name(w); })) {
            reader.fail("resonance.way is missing or none that is known");
        }
    }
    if (const Json* w = record::member(json, "winding"); w != nullptr) {
        const Json* loading = record::member(json, "loading");
        const Json* model = loading != nullptr ? record::member(*loading, "model") : nullptr;
        known.inductance = value_of(reader, *w, "winding.", "inductance_h", "inductance_u95_h",
                                    model != nullptr ? record::member(*model, "budget") : nullptr, "inductance_u_h");
    }
    if (const Json* c = record::member(json, "calculated"); c != nullptr) {
        known.calculated_hz = reader.number(*c, "frequency_hz", "calculated.", 0);
    }
    if (!known.resonance && !known.inductance && !known.tank_resonance) {
        reader.fail(record::member(json, "pair") != nullptr
                        ? "holds two coupled circuits together; measure the secondary with the tank open"
                        : "neither a resonance nor an inductance in it");
    }
    if (reader.error()) return *reader.error();
    return known;
}

Result<KnownResult> parse(std::string_view json_text, std::string_view origin, Welcome welcome) {
    record::JsonLimits limits;
    limits.bytes = kLongestResult;
    const auto json = record::parse_json(json_text, origin, limits);
    if (!json) return json.error();
    return interpret(*json, origin, welcome);
}

Result<KnownResult> read(const std::filesystem::path& path, Welcome welcome) {
    const auto text = record::read_text(path, kLongestResult);
    if (!text) return text.error();
    auto known = parse(*text, path.string(), welcome);
    // Who names a file is at the command line.
    if (!known && known.error().kind == ErrorKind::bad_input) {
        return bad_input(known.error().message + "; give the output of analyze --json or loading --json");
    }
    return known;
}

}  // namespace

Status require_accepted(const Json& json, std::string_view origin) {
    const Json* verdict = record::member(json, "verdict");
    if (verdict != nullptr && *verdict == "rejected") {
        return rejected(
            fmt::format("{}: this measurement was rejected, there is nothing to take from it; measure again", origin));
    }
    if (verdict == nullptr || (*verdict != "good" && *verdict != "caution")) {
        return bad_input(
            fmt::format("{}: verdict is missing or unknown, so nobody can tell whether it counts", origin));
    }
    const Json* hookup = record::member(json, "hookup");
    const bool head_free = hookup != nullptr && (*hookup == "foot" || *hookup == "pickup");
    const auto frequency_hz = [&](const char* of) {
        const Json* object = record::member(json, of);
        const Json* found = object != nullptr ? record::member(*object, "frequency_hz") : nullptr;
        return found != nullptr && found->is_number() ? found->get<double>() : 0.0;
    };
    const double measured = frequency_hz("resonance"), calculated = frequency_hz("calculated");
    const double ratio = measured > 0 && calculated > 0 ? measured / calculated : 1;
    if (head_free && !(std::max(ratio, 1 / ratio) <= kFarthestFromCalculated)) {
        return bad_input(
            fmt::format("{}: resonance.frequency_hz is {:g}, nowhere near the {:g} calculated in the same "
                        "file; see whether a unit slipped, or describe the coil that was measured",
                        origin, measured, calculated));
    }
    return Done{};
}

Result<KnownResult> parse_result(std::string_view json_text, std::string_view origin) {
    return parse(json_text, origin, Welcome::secondary);
}

Result<KnownResult> read_result(const std::filesystem::path& path) {
    return read(path, Welcome::secondary);
}

Result<KnownResult> parse_any_result(std::string_view json_text, std::string_view origin) {
    return parse(json_text, origin, Welcome::anything);
}

Result<KnownResult> read_any_result(const std::filesystem::path& path) {
    return read(path, Welcome::anything);
}

}  // namespace coldtune::measure
