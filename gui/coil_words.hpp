// What the analyzer says about a description, in the words of the form: fields by their labels, not by their keys in a
// file.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "gui/coil_form.hpp"

namespace coldtune::gui {

// "Winding length", "Tube diameter of the strike ring" for "secondary.length",
// "surroundings.strike_ring.tube_diameter"; `beside` is the key of a field of the same group, where the group need not
// be said. Empty for what is no field.
std::string field_words(std::string_view key, std::string_view beside = {});

// A sentence with every key in it in words. `key` is the form's field that it is about, empty where it names none; the
// field's own name is then left away at the beginning: it stands before it.
struct FieldComplaint {
    std::string key;
    std::string text;
};
FieldComplaint complaint_in_words(const CoilForm& form, std::string_view message);

// What is wrong with the form, in the order of its fields: "Wire: 0.4 mm, thicker than ...". Those of the whole have no
// key.
std::vector<FieldComplaint> complaint_lines(const CoilForm& form, const FormReading& reading);

}  // namespace coldtune::gui
