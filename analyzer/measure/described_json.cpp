#include "analyzer/measure/described_json.hpp"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {
namespace {

using Json = nlohmann::ordered_json;

Json body_json(const model::TopLoadBody& body) {
    if (const auto* t = std::get_if<model::Toroid>(&body)) {
        return {{"shape", "toroid"},
                {"outer_diameter_m", t->outer_diameter_m},
                {"tube_diameter_m", t->tube_diameter_m},
                {"height_m", t->height_m}};
    }
    if (const auto* s = std::get_if<model::Sphere>(&body)) {
        return {{"shape", "sphere"}, {"diameter_m", s->diameter_m}, {"height_m", s->height_m}};
    }
    const auto& d = std::get<model::Disc>(body);
    return {{"shape", "disc"}, {"diameter_m", d.diameter_m}, {"height_m", d.height_m}};
}

std::optional<double> number(const Json& object, const char* key) {
    const Json* found = record::member(object, key);
    if (found == nullptr || !found->is_number()) return std::nullopt;
    const double value = found->get<double>();
    return std::isfinite(value) ? std::optional(value) : std::nullopt;
}

std::string text(const Json& object, const char* key) {
    const Json* found = record::member(object, key);
    return found != nullptr && found->is_string() ? found->get<std::string>() : std::string();
}

std::optional<model::TopLoadBody> body_of(const Json& json) {
    const std::string shape = text(json, "shape");
    const auto height = number(json, "height_m");
    if (!height) return std::nullopt;
    if (shape == "toroid") {
        const auto outer = number(json, "outer_diameter_m"), tube = number(json, "tube_diameter_m");
        if (!outer || !tube) return std::nullopt;
        return model::Toroid{*outer, *tube, *height};
    }
    const auto diameter = number(json, "diameter_m");
    if (!diameter) return std::nullopt;
    if (shape == "sphere") return model::Sphere{*diameter, *height};
    if (shape == "disc") return model::Disc{*diameter, *height};
    return std::nullopt;
}

// Every size of a body, the height last; the shape's number first.
std::array<double, 4> sizes(const model::TopLoadBody& body) {
    if (const auto* t = std::get_if<model::Toroid>(&body)) {
        return {0, t->outer_diameter_m, t->tube_diameter_m, t->height_m};
    }
    if (const auto* s = std::get_if<model::Sphere>(&body)) return {1, s->diameter_m, 0, s->height_m};
    const auto& d = std::get<model::Disc>(body);
    return {2, d.diameter_m, 0, d.height_m};
}

}  // namespace

Json described_json(const std::optional<model::CoilDescription>& description) {
    if (!description) return nullptr;
    Json bodies = Json::array();
    for (const auto& body : description->topload) bodies.push_back(body_json(body));
    Json j{{"name", description->name}, {"topload", std::move(bodies)}, {"tank", nullptr}};
    if (const auto& tank = description->tank) {
        j["tank"] = {{"capacitance_f", tank->capacitance_f},
                     {"tap_turns", tank->tap_turns ? Json(*tank->tap_turns) : Json(nullptr)},
                     {"lead_inductance_h", tank->lead_inductance_h}};
    }
    return j;
}

Json bench_json(const BenchFacts& bench) {
    const auto text_or_null = [](const std::string& s) { return s.empty() ? Json(nullptr) : Json(s); };
    return {{"device", text_or_null(bench.device)},
            {"time_utc", text_or_null(bench.time_utc)},
            {"reference_ohm", bench.reference_ohm > 0 ? Json(bench.reference_ohm) : Json(nullptr)},
            {"noted_reference_ohm", bench.noted_reference_ohm ? Json(*bench.noted_reference_ohm) : Json(nullptr)}};
}

std::optional<Described> described_of(const Json& json) {
    const Json* bodies = record::member(json, "topload");
    if (bodies == nullptr || !bodies->is_array()) return std::nullopt;
    Described described;
    described.name = text(json, "name");
    for (const Json& one : *bodies) {
        const auto body = body_of(one);
        if (!body) return std::nullopt;
        described.topload.push_back(*body);
    }
    if (const Json* tank = record::member(json, "tank"); tank != nullptr) {
        const auto capacitance = number(*tank, "capacitance_f"), leads = number(*tank, "lead_inductance_h");
        if (!capacitance || !leads) return std::nullopt;
        described.tank = model::Tank{*capacitance, number(*tank, "tap_turns"), *leads};
    }
    return described;
}

BenchFacts bench_of(const Json& json) {
    return {text(json, "device"), text(json, "time_utc"), number(json, "reference_ohm").value_or(0),
            number(json, "noted_reference_ohm")};
}

bool same_topload(const std::vector<model::TopLoadBody>& a, const std::vector<model::TopLoadBody>& b) {
    if (a.size() != b.size()) return false;
    for (std::size_t i = 0; i < a.size(); ++i) {
        const auto x = sizes(a[i]), y = sizes(b[i]);
        for (std::size_t k = 0; k < x.size(); ++k) {
            if (std::abs(x[k] - y[k]) > 1e-6 * (std::abs(x[k]) + 1e-3)) return false;
        }
    }
    return true;
}

std::string topload_name(const std::vector<model::TopLoadBody>& topload) {
    if (topload.empty()) return "no top load";
    const auto length = [](double metres) { return record::format_quantity(metres, record::Unit::metre, 3); };
    std::string out;
    for (const auto& body : topload) {
        if (!out.empty()) out += " and ";
        if (const auto* t = std::get_if<model::Toroid>(&body)) {
            out += fmt::format("toroid {} by {}", length(t->outer_diameter_m), length(t->tube_diameter_m));
        } else if (const auto* s = std::get_if<model::Sphere>(&body)) {
            out += "sphere " + length(s->diameter_m);
        } else {
            out += "disc " + length(std::get<model::Disc>(body).diameter_m);
        }
    }
    return out;
}

}  // namespace coldtune::measure
