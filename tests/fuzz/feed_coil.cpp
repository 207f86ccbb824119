#include <cmath>

#include "analyzer/record/coil_file.hpp"
#include "gui/coil_form.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_coil(std::string_view bytes) {
    const auto coil = record::parse_coil(bytes, "coil.json");
    const auto form = gui::form_from_json(bytes, "coil.json");
    if (!coil) {
        require_refusal(coil.error());
        require(!form.ok(), "the window takes no coil that the program refuses");
        return;
    }
    require(model::check_geometry(*coil).ok(), "a coil that was taken can be built");
    if (!form) {
        require_refusal(form.error());
        return;
    }
    const std::string text = gui::to_json(*form);
    const auto again = record::parse_coil(text, "form");
    require(again.ok(), "what the window keeps of a coil can be read: " + text);
    require(again->secondary.turns == coil->secondary.turns, "the window keeps the turns");
}

}  // namespace coldtune::fuzz
