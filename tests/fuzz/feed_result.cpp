#include <nlohmann/json.hpp>

#include "analyzer/measure/kept_result.hpp"
#include "analyzer/measure/known_result.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/record/json_text.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_result(std::string_view bytes) {
    // As evidence of others see it: compare, tune.
    if (const auto known = measure::parse_any_result(bytes, "known.json"); !known) require_refusal(known.error());
    if (const auto known = measure::parse_result(bytes, "known.json"); !known) require_refusal(known.error());
    const auto json = record::parse_json(bytes, "result.json");
    if (!json) return;
    const auto first = measure::result_from_json(*json, "result.json");
    if (!first) {
        require_refusal(first.error());
        return;
    }
    require((first->verdict() != measure::Verdict::rejected) || first->resonance() == nullptr,
            "a rejected result has no resonance");
    const record::Json written = measure::to_json(*first, true);
    const auto second = measure::result_from_json(written, "again.json");
    require(second.ok(), "a written result can be read: " + (second ? "" : second.error().message));
    require(record::json_text(measure::to_json(*second, true)) == record::json_text(written),
            "a result comes back unchanged");
}

}  // namespace coldtune::fuzz
