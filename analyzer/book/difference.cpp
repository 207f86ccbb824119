#include "analyzer/book/difference.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::book {
namespace {

using record::Json;

std::string shown(const Json* value) {
    return value == nullptr ? "nothing" : record::one_line(record::json_text(*value, -1), 60);
}

std::optional<Difference> difference(const Json& then, const Json& now, const std::string& path, bool order) {
    if (then == now) return std::nullopt;
    const auto step = [&](const std::string& key) { return path.empty() ? key : path + "." + key; };
    if (then.is_object() && now.is_object()) {
        const auto missing = [&](const Json& value) { return order || !value.is_null(); };
        for (const auto& [key, value] : then.items()) {
            const auto other = now.find(key);
            if (other == now.end()) {
                if (missing(value)) return Difference{step(key), shown(&value), shown(nullptr)};
            } else if (auto found = difference(value, *other, step(key), order)) {
                return found;
            }
        }
        for (const auto& [key, value] : now.items()) {
            if (!then.contains(key) && missing(value)) return Difference{step(key), shown(nullptr), shown(&value)};
        }
        return order ? std::optional(Difference{path, "one order", "another order"}) : std::nullopt;
    }
    if (then.is_array() && now.is_array() && then.size() == now.size()) {
        for (std::size_t i = 0; i < then.size(); ++i) {
            if (auto found = difference(then[i], now[i], fmt::format("{}[{}]", path, i), order)) return found;
        }
        return std::nullopt;
    }
    return Difference{path, shown(&then), shown(&now)};
}

}  // namespace

std::optional<Difference> first_difference(const Json& then, const Json& now, bool order) {
    return difference(then, now, "", order);
}

}  // namespace coldtune::book
