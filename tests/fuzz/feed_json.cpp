#include <nlohmann/json.hpp>

#include "analyzer/record/json_text.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_json(std::string_view bytes) {
    const auto json = record::parse_json(bytes, "fuzz.json");
    if (!json) {
        require_refusal(json.error());
        return;
    }
    for (const bool ascii : {false, true}) {
        const std::string text = record::json_text(*json, ascii ? -1 : 2, ascii);
        const auto again = record::parse_json(text, "fuzz.json");
        require(again.ok(), "written JSON can be read");
        require(*again == *json, "JSON comes back unchanged");
    }
}

}  // namespace coldtune::fuzz
