#include "analyzer/book/seal.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <iterator>
#include <nlohmann/json.hpp>

#include "analyzer/book/book_json.hpp"
#include "analyzer/record/sha256.hpp"

namespace coldtune::book {
namespace {

using record::Json;

bool counts(std::string_view key, bool outermost) {
    return !outermost || (key != "name" && key != "notes" && key != "seal");
}

// One text for one value: keys sorted, lengths before texts so that none can run into the next, every number as the
// shortest decimal of its double.
void add_value(std::string& text, const Json& value, bool outermost) {
    const auto add_text = [&](const std::string& s) {
        fmt::format_to(std::back_inserter(text), "{}:", s.size());
        text += s;
    };
    if (value.is_object()) {
        std::vector<std::pair<const std::string*, const Json*>> members;
        for (const auto& [key, member] : value.get_ref<const Json::object_t&>()) {
            if (!member.is_null() && counts(key, outermost)) members.emplace_back(&key, &member);
        }
        std::sort(members.begin(), members.end(), [](const auto& a, const auto& b) { return *a.first < *b.first; });
        text += '{';
        for (const auto& [key, member] : members) {
            add_text(*key);
            add_value(text, *member, false);
        }
        text += '}';
    } else if (value.is_array()) {
        text += '[';
        for (const Json& element : value) add_value(text, element, false);
        text += ']';
    } else if (value.is_string()) {
        text += 's';
        add_text(value.get_ref<const std::string&>());
    } else if (value.is_number()) {
        fmt::format_to(std::back_inserter(text), "n{};", value.get<double>());
    } else {
        text += value.is_null() ? 'z' : value.get<bool>() ? 't' : 'f';
    }
}

}  // namespace

std::string seal_of(const Json& entry) {
    std::string text;
    add_value(text, entry, true);
    return record::sha256(text);
}

std::string seal_of(const CoilVersion& coil) {
    return seal_of(coil_json(coil));
}
std::string seal_of(const Interface& interface) {
    return seal_of(interface_json(interface));
}
std::string seal_of(const KeptCapture& capture) {
    return seal_of(capture_json(capture));
}
std::string seal_of(const Run& run) {
    return seal_of(run_json(run));
}

}  // namespace coldtune::book
