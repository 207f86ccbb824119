#include "gui/tuning_form.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <nlohmann/json.hpp>

#include "gui/coil_words.hpp"

namespace coldtune::gui {
namespace {

using bench::Hookup;
using Json = nlohmann::ordered_json;

constexpr std::array kPlaces = {place::bare, place::secondary, place::inductance, place::both, place::coupling};
constexpr std::size_t kMostTaps = 12;
// A settings file may have been spoiled or made by a stranger; no result without its curve comes near this.
constexpr std::size_t kLongestWritten = std::size_t{1} << 20;

bool known_place(std::string_view key) {
    return std::find(kPlaces.begin(), kPlaces.end(), key) != kPlaces.end();
}

bool head_free(const measure::MeasurementResult& r) {
    return (r.hookup == Hookup::foot || r.hookup == Hookup::pickup) && r.resonance() != nullptr;
}

const measure::Accepted* accepted(const measure::MeasurementResult& r) {
    return std::get_if<measure::Accepted>(&r.outcome);
}

// Where the tap was when it was measured, as its description says.
std::optional<double> described_turns(const measure::MeasurementResult& r) {
    if (!r.description || !r.description->tank || !r.description->primary) return std::nullopt;
    return r.description->tank->tap_turns.value_or(r.description->primary->turns);
}

Json evidence_json(const Evidence& e) {
    return {{"name", e.name}, {"when", e.when}, {"written", e.written}, {"by_hand", e.by_hand}};
}

std::optional<Evidence> evidence_from(const Json& j) {
    if (!j.is_object()) return std::nullopt;
    Evidence e;
    const auto text = [&](const char* key, std::string& into) {
        const auto found = j.find(key);
        if (found != j.end() && found->is_string()) into = found->get<std::string>();
    };
    text("name", e.name);
    text("when", e.when);
    text("written", e.written);
    const auto by_hand = j.find("by_hand");
    e.by_hand = by_hand != j.end() && by_hand->is_boolean() && by_hand->get<bool>();
    if (e.name.empty() || e.written.size() > kLongestWritten) return std::nullopt;
    return e;
}

}  // namespace

bool fits(std::string_view key, const measure::MeasurementResult& r) {
    if (r.verdict() == measure::Verdict::rejected || accepted(r) == nullptr) return false;
    if (key == place::secondary) return head_free(r);
    if (key == place::bare) return head_free(r) && (!r.description || r.description->topload.empty());
    if (key == place::inductance) return accepted(r)->winding.has_value();
    if (key == place::both) return r.pair() != nullptr;
    if (key == place::coupling) return accepted(r)->coupling.has_value();
    if (key.starts_with(place::new_tap)) {
        return (r.hookup == Hookup::tank && r.resonance() != nullptr) || accepted(r)->winding.has_value();
    }
    return false;
}

std::string take_run(TuningForm& form, const Evidence& evidence, const measure::MeasurementResult& result) {
    const auto into = [&](std::string_view key, const char* words) {
        const auto now = form.places.find(key);
        if (now != form.places.end() && now->second.by_hand) return std::string();
        form.places[std::string(key)] = evidence;
        return std::string(words);
    };
    if (fits(place::both, result)) return into(place::both, "both circuits together");
    if (fits(place::coupling, result)) return into(place::coupling, "the coupling");
    if (fits(place::inductance, result)) return into(place::inductance, "the inductance of the winding");
    if (head_free(result) && fits(place::secondary, result)) {
        // Without a description nobody knows what stood on the coil.
        if (!result.description) return {};
        return fits(place::bare, result) ? into(place::bare, "the secondary without its top load")
                                         : into(place::secondary, "the secondary");
    }
    const auto turns = described_turns(result);
    if (!fits(place::new_tap, result) || result.hookup != Hookup::tank || !turns) return {};
    std::erase_if(form.taps, [&](const TapPlace& t) {
        const auto same = record::parse_quantity(t.turns, record::Unit::turn);
        return !t.evidence.by_hand && same && std::abs(*same - *turns) < 1e-6 * *turns;
    });
    if (form.taps.size() >= kMostTaps) form.taps.erase(form.taps.begin());
    form.taps.push_back({evidence, fmt::format("{:.6g}", *turns)});
    return fmt::format("the tank at {:.4g} turns", *turns);
}

std::optional<std::size_t> tap_index(const TuningForm& form, std::string_view key) {
    if (!key.starts_with("tap.")) return std::nullopt;
    std::size_t index = 0;
    const auto [end, error] = std::from_chars(key.data() + 4, key.data() + key.size(), index);
    if (error != std::errc() || end != key.data() + key.size() || index >= form.taps.size()) return std::nullopt;
    return index;
}

bool put(TuningForm& form, std::string_view key, Evidence evidence) {
    if (evidence.name.empty()) return false;
    evidence.by_hand = true;
    if (known_place(key)) {
        form.places[std::string(key)] = std::move(evidence);
        return true;
    }
    if (key == place::new_tap && form.taps.size() < kMostTaps) {
        form.taps.push_back({std::move(evidence), {}});
        return true;
    }
    const auto index = tap_index(form, key);
    if (!index) return false;
    form.taps[*index] = {std::move(evidence), {}};
    return true;
}

bool take_away(TuningForm& form, std::string_view key) {
    if (const auto index = tap_index(form, key)) {
        form.taps.erase(form.taps.begin() + static_cast<std::ptrdiff_t>(*index));
        return true;
    }
    const auto found = form.places.find(key);
    if (found == form.places.end()) return false;
    form.places.erase(found);
    return true;
}

const Evidence* evidence_at(const TuningForm& form, std::string_view key) {
    if (const auto index = tap_index(form, key)) return &form.taps[*index].evidence;
    const auto found = form.places.find(key);
    return found == form.places.end() ? nullptr : &found->second;
}

void set_instead(TuningForm& form, const std::string& shape) {
    form.instead = {};
    form.instead_shape.clear();
    if (shape != "toroid" && shape != "sphere" && shape != "disc") return;
    form.instead_shape = shape;
    add_topload(form.instead, shape);
}

TuningReading read(const TuningForm& form, const CoilForm& coil) {
    TuningReading reading;
    const auto allowance = record::parse_quantity(form.allowance, record::Unit::ratio);
    if (allowance) {
        reading.allowance = *allowance;
    } else {
        reading.complaints["allowance"] = form.allowance.empty() ? "still empty" : allowance.error().message;
    }
    for (std::size_t k = 0; k < form.taps.size(); ++k) {
        reading.tap_turns.emplace_back();
        const std::string& typed = form.taps[k].turns;
        if (typed.empty()) continue;
        const auto turns = record::parse_quantity(typed, record::Unit::turn);
        if (turns && *turns > 0) {
            reading.tap_turns.back() = *turns;
        } else {
            reading.complaints[fmt::format("tap.{}", k)] = turns ? "needs to be above 0 turns" : turns.error().message;
        }
    }
    if (!form.instead_shape.empty()) {
        CoilForm other = coil;
        other.topload_shapes = {form.instead_shape};
        std::erase_if(other.text, [](const auto& entry) { return entry.first.starts_with("topload."); });
        for (const auto& [key, value] : form.instead.text) other.text[key] = value;
        FormReading whole = read(other);
        reading.instead = std::move(whole.coil);
        for (auto& [key, complaint] : whole.complaints) {
            if (key.starts_with("topload.") || key.empty()) {
                reading.complaints[key] = std::move(complaint);
            } else if (read(coil).coil) {
                // A size of step 1 that goes with its own top load and not with this one.
                reading.complaints[""] = field_words(key) + ": " + complaint;
            }
        }
    }
    return reading;
}

std::string to_json(const TuningForm& form) {
    Json j;
    j["allowance"] = form.allowance;
    j["places"] = Json::object();
    for (const auto& [key, evidence] : form.places) j["places"][key] = evidence_json(evidence);
    j["taps"] = Json::array();
    for (const TapPlace& t : form.taps) {
        j["taps"].push_back(evidence_json(t.evidence));
        j["taps"].back()["turns"] = t.turns;
    }
    j["instead_shape"] = form.instead_shape;
    j["instead"] = Json::object();
    for (const auto& [key, value] : form.instead.text) j["instead"][key] = value;
    return j.dump(-1, ' ', false, Json::error_handler_t::replace);
}

TuningForm tuning_form_from_json(std::string_view json_text) {
    TuningForm form;
    const Json j = Json::parse(json_text, nullptr, false);
    if (!j.is_object()) return form;
    const auto child = [&](const char* key) { return j.contains(key) ? j[key] : Json(); };
    if (const Json a = child("allowance"); a.is_string()) form.allowance = a.get<std::string>();
    if (const Json places = child("places"); places.is_object()) {
        for (const auto& [key, value] : places.items()) {
            if (auto e = evidence_from(value); e && known_place(key)) form.places[key] = std::move(*e);
        }
    }
    if (const Json taps = child("taps"); taps.is_array()) {
        for (const Json& t : taps) {
            auto e = evidence_from(t);
            if (!e || form.taps.size() >= kMostTaps) continue;
            const auto turns = t.find("turns");
            form.taps.push_back(
                {std::move(*e), turns != t.end() && turns->is_string() ? turns->get<std::string>() : ""});
        }
    }
    if (const Json shape = child("instead_shape"); shape.is_string()) set_instead(form, shape.get<std::string>());
    if (const Json sizes = child("instead"); sizes.is_object() && !form.instead_shape.empty()) {
        for (auto& [key, value] : form.instead.text) {
            if (const auto found = sizes.find(key); found != sizes.end() && found->is_string()) {
                value = found->get<std::string>();
            }
        }
    }
    return form;
}

}  // namespace coldtune::gui
