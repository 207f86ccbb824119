// The coil as the user types it: texts, one per field, kept exactly as typed until they are read.
//
// Fields are named by their path in COIL.json ("secondary.diameter", "topload.0.height"), so that a complaint of the
// reader finds its field, and what is saved is what was typed.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "analyzer/model/geometry.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/result.hpp"

namespace coldtune::gui {

struct FieldSpec {
    std::string_view key;  // path; for a top load body without its number: "topload.height"
    std::string_view label;
    std::string_view hint;  // one sentence: what to measure
    record::Unit unit = record::Unit::metre;
    bool optional = false;
    double slider_low = 0, slider_high = 0;  // SI; equal = no slider
};

// The parts of a description that may be there or not.
enum class CoilPart { ground, wall, ceiling, strike_ring, primary, tank };

struct CoilForm {
    std::string name;
    std::map<std::string, std::string, std::less<>> text;
    std::vector<std::string> topload_shapes;  // "toroid", "sphere", "disc", foot to head
    std::map<CoilPart, bool> has;
    friend bool operator==(const CoilForm&, const CoilForm&) = default;
};

std::span<const FieldSpec> winding_fields();
std::span<const FieldSpec> topload_fields(std::string_view shape);
std::span<const FieldSpec> part_fields(CoilPart part);
std::span<const FieldSpec> tolerance_fields();
std::string_view part_title(CoilPart part);
inline constexpr std::size_t kMostTopLoads = 3;

// "topload.0.height" from the spec's "topload.height".
std::string topload_key(std::size_t body, std::string_view spec_key);
// Any field by its full key; null when there is none.
const FieldSpec* find_field(std::string_view key);

// The description a new user sees first: an invented coil.
CoilForm first_form();
// A body's ordinary sizes, so that adding one gives something to look at.
void add_topload(CoilForm& form, std::string_view shape);
void remove_topload(CoilForm& form, std::size_t body);

// COIL.json of what is typed; empty optional fields are left out.
std::string to_json(const CoilForm& form);

struct FormReading {
    std::optional<model::CoilDescription> coil;                  // when everything can be read and built
    std::map<std::string, std::string, std::less<>> complaints;  // by field, in its words; "" = the whole
};
FormReading read(const CoilForm& form);

// A saved description into texts: texts stay as they are in the file, numbers become texts with a unit. Takes an
// unfinished one (coil_draft.hpp) as well.
Result<CoilForm> load_form(const std::filesystem::path& path);
Result<CoilForm> form_from_json(std::string_view json_text, std::string_view origin);
Status save_form(const CoilForm& form, const std::filesystem::path& path);

}  // namespace coldtune::gui
