#include "analyzer/audio/capture_note.hpp"

#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::audio {
namespace {

using record::Json;

constexpr std::string_view schema = "coldtune.capture.v1";
constexpr std::size_t longest_note = 2000;
constexpr std::size_t longest_text = 100;
constexpr double most_settle_periods = 1e6;
constexpr double highest_reference_ohm = 1e9;

// The number under `key`, `otherwise` when it is absent; clears `sound` when it is no number from 0 to `most`.
double number(const Json& json, const char* key, double otherwise, double most, bool& sound) {
    const auto entry = json.find(key);
    if (entry == json.end() || entry->is_null()) return otherwise;
    const double value = entry->is_number() ? entry->get<double>() : -1;
    if (value >= 0 && value <= most) return value;
    sound = false;
    return otherwise;
}

std::size_t count(const Json& json, const char* key, std::size_t otherwise, double most, bool& sound) {
    const double value = number(json, key, static_cast<double>(otherwise), most, sound);
    if (value != std::floor(value)) sound = false;
    return static_cast<std::size_t>(value);
}

std::string text(const Json& json, const char* key, bool& sound) {
    const auto entry = json.find(key);
    if (entry == json.end() || entry->is_null()) return {};
    if (!entry->is_string()) {
        sound = false;
        return {};
    }
    return record::one_line(entry->get_ref<const std::string&>(), longest_text);
}

}  // namespace

std::string note_text(const CaptureNote& note, double sample_rate_hz) {
    const auto cut = [](const std::string& text) { return record::one_line(text, longest_text); };
    Json json{{"schema", schema},
              {"hookup", cut(note.hookup)},
              {"period_frames", note.period_frames},
              {"settle_periods", note.settle_periods},
              {"reference_ohm", note.reference_ohm},
              {"sample_rate_hz", sample_rate_hz},
              {"device", cut(note.device)},
              {"time_utc", cut(note.time_utc)},
              {"program_version", cut(note.program_version)}};
    // Never left out below: without it the capture would be taken for one of two inputs.
    if (!note.held_stream.empty()) json["held_stream"] = cut(note.held_stream);
    for (const char* key : {"device", "program_version", "time_utc", "hookup"}) {
        if (record::json_text(json, -1, true).size() <= longest_note) break;
        json.erase(key);
    }
    return record::json_text(json, -1, true);
}

std::optional<StoredNote> parse_note(std::string_view comment) {
    if (comment.empty() || comment.front() != '{' || comment.size() > longest_note) return std::nullopt;
    const auto json = record::parse_json(comment, "note", {longest_note, 4});
    if (!json || !json->is_object()) return std::nullopt;
    bool sound = true;
    if (text(*json, "schema", sound) != schema) return std::nullopt;
    StoredNote stored;
    stored.note.hookup = text(*json, "hookup", sound);
    stored.note.period_frames = count(*json, "period_frames", 0, static_cast<double>(most_capture_frames), sound);
    stored.note.settle_periods = count(*json, "settle_periods", 1, most_settle_periods, sound);
    stored.note.reference_ohm = number(*json, "reference_ohm", 0, highest_reference_ohm, sound);
    stored.note.device = text(*json, "device", sound);
    stored.note.time_utc = text(*json, "time_utc", sound);
    stored.note.program_version = text(*json, "program_version", sound);
    stored.note.held_stream = text(*json, "held_stream", sound);
    stored.sample_rate_hz = number(*json, "sample_rate_hz", 0, highest_capture_rate_hz, sound);
    if (!sound) return std::nullopt;
    return stored;
}

}  // namespace coldtune::audio
