#include "gui/coil_form.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <nlohmann/json.hpp>

#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/coil_file.hpp"
#include "analyzer/record/json_text.hpp"
#include "gui/coil_draft.hpp"
#include "gui/coil_words.hpp"

namespace coldtune::gui {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kLongestCoilFile = std::size_t{1} << 20;  // what the strict reader takes

constexpr std::array kParts = {CoilPart::ground,      CoilPart::wall,    CoilPart::ceiling,
                               CoilPart::strike_ring, CoilPart::primary, CoilPart::tank};

bool has(const CoilForm& form, CoilPart part) {
    const auto found = form.has.find(part);
    return found != form.has.end() && found->second;
}

std::string typed(const CoilForm& form, std::string_view key) {
    const auto found = form.text.find(key);
    if (found == form.text.end()) return {};
    const auto first = found->second.find_first_not_of(" \t");
    if (first == std::string::npos) return {};
    return found->second.substr(first, found->second.find_last_not_of(" \t") - first + 1);
}

// Puts a text at its path; an empty one is left out (the reader then says what is missing).
void put(Json& root, const CoilForm& form, std::string_view key) {
    const std::string value = typed(form, key);
    if (value.empty()) return;
    Json* at = &root;
    std::size_t from = 0;
    for (std::size_t dot = key.find('.'); dot != std::string_view::npos; dot = key.find('.', from)) {
        at = &(*at)[std::string(key.substr(from, dot - from))];
        from = dot + 1;
    }
    (*at)[std::string(key.substr(from))] = value;
}

std::string as_text(const Json& value, record::Unit unit) {
    if (value.is_string()) return value.get<std::string>();
    if (!value.is_number()) return {};
    const double number = value.get<double>();
    // The shortest number that reads back the same; a length needs its unit.
    const std::string digits = fmt::format("{}", number);
    return unit == record::Unit::metre ? digits + "m" : digits;
}

const Json* at_path(const Json& root, std::string_view key) {
    const Json* at = &root;
    std::stringstream path{std::string(key)};
    for (std::string part; std::getline(path, part, '.');) {
        if (!at->is_object() || !at->contains(part) || (*at)[part].is_null()) return nullptr;
        at = &(*at)[part];
    }
    return at;
}

void take(CoilForm& form, const Json& root, std::span<const FieldSpec> fields) {
    for (const FieldSpec& f : fields) {
        if (const Json* value = at_path(root, f.key)) form.text[std::string(f.key)] = as_text(*value, f.unit);
    }
}

}  // namespace

CoilForm first_form() {
    CoilForm form;
    form.name = "Heron, a demonstration coil (invented)";
    form.text = {{"secondary.diameter", "160mm"},
                 {"secondary.length", "750mm"},
                 {"secondary.turns", "2500"},
                 {"secondary.wire", "0.25mm"},
                 {"secondary.base_height", "150mm"},
                 {"topload.0.outer_diameter", "600mm"},
                 {"topload.0.tube_diameter", "150mm"},
                 {"topload.0.height", "60mm"},
                 {"primary.inner_diameter", "220mm"},
                 {"primary.pitch", "16mm"},
                 {"primary.turns", "12"},
                 {"primary.conductor", "8mm"},
                 {"primary.angle", "0"},
                 {"primary.base_height", "120mm"},
                 {"surroundings.wall_radius", "1.5m"},
                 {"surroundings.ceiling_height", "2.4m"},
                 {"surroundings.strike_ring.diameter", "560mm"},
                 {"surroundings.strike_ring.tube_diameter", "10mm"},
                 {"surroundings.strike_ring.height", "200mm"},
                 {"tank.capacitance", "120nF"}};
    form.topload_shapes = {"toroid"};
    form.has[CoilPart::ground] = true;
    return form;
}

void add_topload(CoilForm& form, std::string_view shape) {
    if (form.topload_shapes.size() >= kMostTopLoads) return;
    const std::size_t body = form.topload_shapes.size();
    form.topload_shapes.emplace_back(shape);
    const auto set = [&](std::string_view key, std::string_view value) {
        form.text[topload_key(body, key)] = std::string(value);
    };
    if (shape == "toroid") {
        set("topload.outer_diameter", "400mm");
        set("topload.tube_diameter", "100mm");
        set("topload.height", body == 0 ? "60mm" : "180mm");
    } else {
        set("topload.diameter", shape == "sphere" ? "200mm" : "300mm");
        set("topload.height", body == 0 ? (shape == "sphere" ? "110mm" : "20mm") : "260mm");
    }
}

void remove_topload(CoilForm& form, std::size_t body) {
    if (body >= form.topload_shapes.size()) return;
    form.topload_shapes.erase(form.topload_shapes.begin() + static_cast<std::ptrdiff_t>(body));
    // Those after it move down with their texts.
    std::map<std::string, std::string, std::less<>> kept;
    for (auto& [key, value] : form.text) {
        if (key.starts_with("topload.") && key.size() > 10) {
            const auto number = static_cast<std::size_t>(key[8] - '0');
            if (number == body) continue;
            kept[number > body ? "topload." + std::to_string(number - 1) + key.substr(9) : key] = value;
        } else {
            kept[key] = value;
        }
    }
    form.text = std::move(kept);
}

std::string to_json(const CoilForm& form) {
    Json root = Json::object();
    if (!form.name.empty()) root["name"] = form.name;
    root["secondary"] = Json::object();
    for (const FieldSpec& f : winding_fields()) put(root, form, f.key);
    Json bodies = Json::array();
    for (std::size_t k = 0; k < form.topload_shapes.size(); ++k) {
        Json body = Json::object();
        body["shape"] = form.topload_shapes[k];
        for (const FieldSpec& f : topload_fields(form.topload_shapes[k])) {
            const std::string value = typed(form, topload_key(k, f.key));
            if (!value.empty()) body[std::string(f.key.substr(f.key.find('.') + 1))] = value;
        }
        bodies.push_back(std::move(body));
    }
    if (bodies.empty()) {
        root["topload"] = nullptr;
    } else if (bodies.size() == 1) {
        root["topload"] = bodies[0];
    } else {
        root["topload"] = bodies;
    }
    root["surroundings"]["ground"] = has(form, CoilPart::ground);
    for (CoilPart part : kParts) {
        if (!has(form, part)) continue;
        if (part == CoilPart::primary) root["primary"] = Json::object();
        if (part == CoilPart::tank) root["tank"] = Json::object();
        for (const FieldSpec& f : part_fields(part)) put(root, form, f.key);
    }
    for (const FieldSpec& f : tolerance_fields()) put(root, form, f.key);
    return root.dump(2) + "\n";
}

FormReading read(const CoilForm& form) {
    FormReading reading;
    const auto examine = [&](const FieldSpec& f, const std::string& key) {
        const std::string value = typed(form, key);
        if (value.empty()) {
            if (!f.optional) reading.complaints[key] = "still empty";
            return;
        }
        if (const auto quantity = record::parse_quantity(value, f.unit); !quantity) {
            reading.complaints[key] = quantity.error().message;
        }
    };
    for (const FieldSpec& f : winding_fields()) {
        if (f.key == "secondary.base_height" && !has(form, CoilPart::ground) && typed(form, f.key).empty()) continue;
        examine(f, std::string(f.key));
    }
    for (std::size_t k = 0; k < form.topload_shapes.size(); ++k) {
        for (const FieldSpec& f : topload_fields(form.topload_shapes[k])) examine(f, topload_key(k, f.key));
    }
    for (CoilPart part : kParts) {
        if (!has(form, part)) continue;
        for (const FieldSpec& f : part_fields(part)) examine(f, std::string(f.key));
    }
    for (const FieldSpec& f : tolerance_fields()) examine(f, std::string(f.key));
    if (!reading.complaints.empty()) return reading;

    auto coil = record::parse_coil(to_json(form), "the description");
    if (!coil) {
        FieldComplaint complaint = complaint_in_words(form, coil.error().message);
        reading.complaints[complaint.key] = std::move(complaint.text);
        return reading;
    }
    reading.coil = std::move(*coil);
    return reading;
}

Result<CoilForm> form_from_json(std::string_view json_text, std::string_view origin) {
    // The strict reader first: what it accepts, the lines below can take apart.
    if (const auto coil = record::parse_coil(json_text, origin); !coil) return coil.error();
    const Json root = Json::parse(json_text, nullptr, false);
    if (!root.is_object()) return bad_input(fmt::format("{}: not a coil description", origin));
    CoilForm form;
    if (const Json* name = at_path(root, "name"); name != nullptr && name->is_string())
        form.name = name->get<std::string>();
    take(form, root, winding_fields());
    if (const Json* topload = at_path(root, "topload")) {
        const Json bodies = topload->is_array() ? *topload : Json::array({*topload});
        if (bodies.size() > kMostTopLoads) {
            return bad_input(fmt::format("{}: {} top load bodies; the window shows at most {}, use the command line",
                                         origin, bodies.size(), kMostTopLoads));
        }
        for (std::size_t k = 0; k < bodies.size(); ++k) {
            form.topload_shapes.push_back(bodies[k].value("shape", "toroid"));
            for (const FieldSpec& f : topload_fields(form.topload_shapes.back())) {
                if (const Json* value = at_path(bodies[k], f.key.substr(f.key.find('.') + 1))) {
                    form.text[topload_key(k, f.key)] = as_text(*value, f.unit);
                }
            }
        }
    }
    const Json* ground = at_path(root, "surroundings.ground");
    form.has[CoilPart::ground] = ground == nullptr || !ground->is_boolean() || ground->get<bool>();
    form.has[CoilPart::wall] = at_path(root, "surroundings.wall_radius") != nullptr;
    form.has[CoilPart::ceiling] = at_path(root, "surroundings.ceiling_height") != nullptr;
    form.has[CoilPart::strike_ring] = at_path(root, "surroundings.strike_ring") != nullptr;
    form.has[CoilPart::primary] = at_path(root, "primary") != nullptr;
    form.has[CoilPart::tank] = at_path(root, "tank") != nullptr;
    for (CoilPart part : kParts) take(form, root, part_fields(part));
    take(form, root, tolerance_fields());
    return form;
}

Result<CoilForm> load_form(const std::filesystem::path& path) {
    const auto text = record::read_text(path, kLongestCoilFile);
    if (!text) return text.error();
    // One that was kept unfinished.
    if (auto draft = form_from_draft(*text, path.string())) return draft;
    return form_from_json(*text, path.string());
}

Status save_form(const CoilForm& form, const std::filesystem::path& path) {
    return record::write_file_atomically(path, to_json(form));
}

}  // namespace coldtune::gui
