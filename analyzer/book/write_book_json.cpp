#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "analyzer/book/book_json.hpp"

namespace coldtune::book {
namespace {

using record::Json;

Json text_or_null(const std::string& text) {
    return text.empty() ? Json(nullptr) : Json(text);
}

Json count_or_null(const std::optional<std::size_t>& count) {
    return count ? Json(*count) : Json(nullptr);
}

Json kept_json(const KeptFile& kept) {
    return {{"file", kept.file}, {"sha256", kept.sha256}, {"bytes", kept.bytes}};
}

Json settings_json(const Settings& s) {
    const measure::BenchTolerances& t = s.tolerances;
    Json tolerances{{"reference_relative", t.reference_relative},
                    {"load_relative", t.load_relative},
                    {"input_capacitance_relative", t.input_capacitance_relative},
                    {"channel_gain_relative", t.channel_gain_relative},
                    {"channel_phase_rad", t.channel_phase_rad},
                    {"lead_resistance_ohm", t.lead_resistance_ohm},
                    {"lead_inductance_h", t.lead_inductance_h},
                    {"clock_ppm", t.clock_ppm}};
    Json json{{"reference_ohm", s.reference_ohm},
              {"load_ohm", s.load_ohm > 0 ? Json(s.load_ohm) : Json(nullptr)},
              {"period_frames", count_or_null(s.period_frames)},
              {"settle_periods", count_or_null(s.settle_periods)},
              {"tolerances", std::move(tolerances)}};
    // Only where it is so: a book without a pair reads in versions that knew none.
    if (s.coupled) json["coupled"] = true;
    return json;
}

Json outline_json(const std::optional<ResponseOutline>& r) {
    if (!r) return nullptr;
    return {{"bins", r->bins},
            {"frequency_hz", r->frequency_hz},
            {"impedance_real_ohm", r->impedance_real_ohm},
            {"impedance_imaginary_ohm", r->impedance_imaginary_ohm},
            {"standard_deviation_ohm", r->standard_deviation_ohm}};
}

// Entries of before there were seals stay without one.
void add_seal(Json& json, const Seal& seal) {
    if (!seal.empty()) json["seal"] = seal;
}

// An array under `key`, an element on each line.
template <typename Items, typename Write>
void add_lines(std::string& text, const char* key, const Items& items, Write write) {
    text += fmt::format(",\n  \"{}\": [", key);
    const char* separator = "\n    ";
    for (const auto& item : items) {
        text += separator;
        text += record::json_text(write(item), -1);
        separator = ",\n    ";
    }
    text += items.empty() ? "]" : "\n  ]";
}

}  // namespace

Json coil_json(const CoilVersion& coil) {
    Json json{{"number", coil.number}, {"added_utc", coil.added_utc}, {"description", *coil.description}};
    add_seal(json, coil.seal);
    return json;
}

Json interface_json(const Interface& i) {
    Json json{{"number", i.number},
              {"device", text_or_null(i.device)},
              {"input_resistance_ohm", i.input_resistance_ohm},
              {"input_capacitance_f", i.input_capacitance_f}};
    add_seal(json, i.seal);
    return json;
}

Json capture_json(const KeptCapture& c) {
    Json json = kept_json(c.kept);
    json["hookup"] = c.hookup;
    json["sample_rate_hz"] = c.sample_rate_hz;
    json["frames"] = c.frames;
    json["device"] = text_or_null(c.device);
    json["recorded_utc"] = text_or_null(c.recorded_utc);
    json["origin"] = text_or_null(c.origin);
    json["origin_sha256"] = text_or_null(c.origin_sha256);
    add_seal(json, c.seal);
    return json;
}

Json run_json(const Run& run) {
    Json json;
    json["number"] = run.number;
    json["name"] = run.name;
    json["time_utc"] = run.time_utc;
    json["program_version"] = run.program_version;
    json["hookup"] = bench::describe(run.hookup).name;
    json["coil"] = run.coil > 0 ? Json(run.coil) : Json(nullptr);
    json["interface"] = run.interface_number;
    json["capture"] = run.capture;
    json["standards"] = {{"open", text_or_null(run.standards.open)},
                         {"short", text_or_null(run.standards.short_circuit)},
                         {"load", text_or_null(run.standards.load)},
                         {"shorted", text_or_null(run.standards.shorted)}};
    json["settings"] = settings_json(run.settings);
    json["result"] = *run.result;
    json["result_file"] = kept_json(run.result_file);
    json["response"] = outline_json(run.response);
    json["notes"] = Json::array();
    for (const Note& note : run.notes) json["notes"].push_back({{"time_utc", note.time_utc}, {"text", note.text}});
    add_seal(json, run.seal);
    return json;
}

std::string book_text(const Book& book) {
    const auto quoted = [](std::string_view text) { return record::json_text(Json(text), -1); };
    std::string text = fmt::format(
        "{{\n  \"schema\": {},\n  \"program_version\": {},\n  \"created_utc\": {},\n  \"saved_utc\": {},\n"
        "  \"save_number\": {},\n  \"last_run_number\": {}",
        quoted(book_schema), quoted(book.program_version), quoted(book.created_utc), quoted(book.saved_utc),
        book.save_number, book.last_run_number);
    add_lines(text, "coils", book.coils, coil_json);
    add_lines(text, "interfaces", book.interfaces, interface_json);
    add_lines(text, "captures", book.captures, capture_json);
    add_lines(text, "runs", book.runs, run_json);
    return text + "\n}\n";
}

}  // namespace coldtune::book
