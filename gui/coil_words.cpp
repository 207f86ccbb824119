#include "gui/coil_words.hpp"

#include <algorithm>
#include <array>

namespace coldtune::gui {
namespace {

struct Group {
    std::string_view key;    // of the form's fields
    std::string_view words;  // in a sentence
};
constexpr std::array kGroups = {
    Group{"surroundings.strike_ring", "the strike ring"},
    Group{"secondary", "the winding"},
    Group{"topload", "the top load"},
    Group{"primary", "the primary"},
    Group{"tank", "the tank"},
    Group{"tolerances", "how well it is measured"},
};

// "topload[1]" of the analyzer, and a single "topload", by the form's numbers.
std::string form_key(std::string_view token) {
    if (!token.starts_with("topload")) return std::string(token);
    std::string_view rest = token.substr(std::string_view("topload").size());
    char number = '0';
    if (rest.size() > 2 && rest[0] == '[' && rest[2] == ']') {
        number = rest[1];
        rest.remove_prefix(3);
    }
    return std::string("topload.") + number + std::string(rest);
}

const Group* group_of(std::string_view key) {
    for (const Group& g : kGroups) {
        if (key == g.key || (key.starts_with(g.key) && key[g.key.size()] == '.')) return &g;
    }
    return nullptr;
}

bool part_of_key(char c) {
    return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '.' || c == '[' || c == ']';
}

// A stretch of a sentence: a key or what stands between.
struct Stretch {
    std::string_view text;
    std::string field;             // full key in the form; empty: none
    const Group* group = nullptr;  // of a field or of a whole part
    std::string body;              // number of a top load body, counted from 1; empty: the only one
};

// A part by itself is an ordinary word too: "primary" counts as a key where the sentence begins, "topload" always.
bool names_part(std::string_view token, bool begins) {
    return token == "surroundings.strike_ring" || token.starts_with("topload") || (begins && token == "primary");
}

std::vector<Stretch> stretches(std::string_view message) {
    std::vector<Stretch> all;
    std::size_t from = 0, at = 0;
    const auto plain = [&](std::size_t end) {
        if (end > from) all.push_back({message.substr(from, end - from), {}, nullptr, {}});
    };
    while (at < message.size()) {
        if (!part_of_key(message[at])) {
            ++at;
            continue;
        }
        std::size_t end = at;
        while (end < message.size() && part_of_key(message[end])) ++end;
        std::string_view token = message.substr(at, end - at);
        while (token.ends_with('.') || token.ends_with('[')) token.remove_suffix(1);
        Stretch s{token, form_key(token), nullptr, {}};
        if (token.starts_with("topload[") && token.size() > 8) s.body = std::string(1, static_cast<char>(token[8] + 1));
        if (find_field(s.field) != nullptr) {
            s.group = group_of(s.field);
        } else if (names_part(token, at == 0)) {
            s.group = group_of(token.starts_with("topload") ? "topload" : token);
            s.field.clear();
        } else {
            at = end;
            continue;
        }
        plain(at);
        at += token.size();
        from = at;
        all.push_back(std::move(s));
    }
    plain(message.size());
    return all;
}

bool same_group(std::string_view a, std::string_view b) {
    if (b.empty() || group_of(a) != group_of(b)) return false;
    // Two bodies of a top load are two things.
    return !a.starts_with("topload.") || a.substr(0, 9) == b.substr(0, 9);
}

std::string group_words(const Stretch& s) {
    std::string words(s.group->words);
    if (!s.body.empty()) words += " " + s.body;
    return words;
}

// A part by itself names no field: the one that puts it elsewhere.
std::string placing_field(const Stretch& s) {
    if (s.group == nullptr) return {};
    if (s.group->key == "topload") {
        const char number = s.body.empty() ? '0' : static_cast<char>(s.body[0] - 1);
        return std::string("topload.") + number + ".height";
    }
    if (s.group->key == "primary") return "primary.base_height";
    return std::string(s.group->key) + ".height";
}

void capitalize(std::string& text) {
    if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') text[0] = static_cast<char>(text[0] - 'a' + 'A');
}

// Every field of the form that is shown, from top to bottom.
std::vector<std::string> fields_in_order(const CoilForm& form) {
    std::vector<std::string> keys;
    for (const FieldSpec& f : winding_fields()) keys.emplace_back(f.key);
    for (std::size_t k = 0; k < form.topload_shapes.size(); ++k) {
        for (const FieldSpec& f : topload_fields(form.topload_shapes[k])) keys.push_back(topload_key(k, f.key));
    }
    for (CoilPart part :
         {CoilPart::wall, CoilPart::ceiling, CoilPart::strike_ring, CoilPart::primary, CoilPart::tank}) {
        for (const FieldSpec& f : part_fields(part)) keys.emplace_back(f.key);
    }
    for (const FieldSpec& f : tolerance_fields()) keys.emplace_back(f.key);
    return keys;
}

}  // namespace

std::string field_words(std::string_view key, std::string_view beside) {
    const FieldSpec* spec = find_field(key);
    if (spec == nullptr) return {};
    std::string words(spec->label);
    const Group* group = group_of(key);
    if (group == nullptr || same_group(key, beside)) return words;
    if (group->key == "tolerances") return words + ", " + std::string(group->words);
    // The winding's own labels say what they are about, but for these.
    if (group->key == "secondary" && beside.empty() && words != "Diameter" && words != "Turns") return words;
    words += " of " + std::string(group->words);
    return words;
}

FieldComplaint complaint_in_words(const CoilForm& form, std::string_view message) {
    constexpr std::string_view kOrigin = "the description: ";
    if (message.starts_with(kOrigin)) message.remove_prefix(kOrigin.size());
    const std::vector<Stretch> all = stretches(message);
    FieldComplaint complaint;
    for (const Stretch& s : all) {
        if (complaint.key.empty() && !s.field.empty()) complaint.key = s.field;
    }
    for (const Stretch& s : all) {
        if (complaint.key.empty()) complaint.key = placing_field(s);
    }
    const bool several = form.topload_shapes.size() > 1;
    for (std::size_t k = 0; k < all.size(); ++k) {
        const Stretch& s = all[k];
        if (s.group == nullptr && s.field.empty()) {
            complaint.text += s.text;
        } else if (!s.field.empty()) {
            if (k == 0 && s.field == complaint.key) continue;
            complaint.text += field_words(s.field, complaint.key);
            if (several && !s.body.empty() && !same_group(s.field, complaint.key)) complaint.text += " " + s.body;
        } else {
            complaint.text += group_words(s);
        }
    }
    // "Wire: is 0.4 mm" reads as "Wire: 0.4 mm"; a colon of the reader's own is there already.
    for (std::string_view beginning : {" is ", ": ", " "}) {
        if (all.empty() || all.front().field != complaint.key || !complaint.text.starts_with(beginning)) continue;
        complaint.text.erase(0, beginning.size());
        break;
    }
    if (complaint.key.empty()) capitalize(complaint.text);
    return complaint;
}

std::vector<FieldComplaint> complaint_lines(const CoilForm& form, const FormReading& reading) {
    std::vector<FieldComplaint> lines;
    for (const std::string& key : fields_in_order(form)) {
        const auto found = reading.complaints.find(key);
        if (found == reading.complaints.end()) continue;
        std::string name = field_words(key);
        if (key.starts_with("topload.") && form.topload_shapes.size() > 1) {
            name += " " + std::string(1, static_cast<char>(key[8] + 1));
        }
        lines.push_back({key, name + ": " + found->second});
    }
    if (const auto whole = reading.complaints.find(""); whole != reading.complaints.end()) {
        lines.push_back({"", whole->second});
    }
    return lines;
}

}  // namespace coldtune::gui
