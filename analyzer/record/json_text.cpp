#include "analyzer/record/json_text.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>
#include <system_error>
#include <unordered_set>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::record {
namespace {

// Builds the value while the library's parser reads, so that depth and repeated keys are judged as they come: its own
// builder would keep the last of two equal keys and follow any depth.
class BoundedBuilder : public nlohmann::json_sax<Json> {
public:
    explicit BoundedBuilder(const JsonLimits& limits) : most_depth_(limits.depth), most_values_(limits.values) {}

    bool null() override { return add(nullptr) != nullptr; }
    bool boolean(bool value) override { return add(value) != nullptr; }
    bool number_integer(number_integer_t value) override { return add(value) != nullptr; }
    bool number_unsigned(number_unsigned_t value) override { return add(value) != nullptr; }
    bool number_float(number_float_t value, const string_t&) override { return add(value) != nullptr; }
    bool string(string_t& value) override { return add(std::move(value)) != nullptr; }
    bool binary(binary_t&) override { return false; }  // JSON text has none

    bool start_object(std::size_t) override { return open(Json::object()); }
    bool end_object() override { return close(); }
    bool start_array(std::size_t) override { return open(Json::array()); }
    bool end_array() override { return close(); }

    bool key(string_t& value) override {
        if (!keys_.back().insert(value).second) {
            fault_ = fmt::format("the key {} stands twice in one object; keep one", in_quotes(value));
            return false;
        }
        key_ = std::move(value);
        return true;
    }

    bool parse_error(std::size_t position, const std::string&, const nlohmann::detail::exception& cause) override {
        fault_at_ = position;
        if (dynamic_cast<const Json::out_of_range*>(&cause) != nullptr) {
            fault_ = "the number is beyond what a double holds (about 1.8e308)";
            return false;
        }
        // "[json.exception.parse_error.101] parse error at line 1, column 2: the part for people"
        std::string_view text = cause.what();
        if (const auto colon = text.find(": "); colon != std::string_view::npos) text.remove_prefix(colon + 2);
        fault_ = "not JSON: " + std::string(text);
        return false;
    }

    Json result;
    [[nodiscard]] const std::string& fault() const { return fault_; }
    [[nodiscard]] std::optional<std::size_t> fault_at() const { return fault_at_; }

private:
    template <typename Value>
    Json* add(Value&& value) {
        if (++values_ > most_values_) {
            fault_ = fmt::format("more than {} values; no file of ours holds that many", most_values_);
            return nullptr;
        }
        if (open_.empty()) {
            result = std::forward<Value>(value);
            return &result;
        }
        Json& parent = *open_.back();
        if (parent.is_array()) {
            auto& array = parent.get_ref<Json::array_t&>();
            return &array.emplace_back(std::forward<Value>(value));
        }
        // Straight into the vector under the map: its own insertion would search all keys, and `key` has done that.
        auto& object = parent.get_ref<Json::object_t&>();
        object.push_back({std::move(key_), Json(std::forward<Value>(value))});
        return &object.back().second;
    }
    bool open(Json container) {
        if (open_.size() >= most_depth_) {
            fault_ = fmt::format("more than {} levels of nesting; no file of ours goes that deep", most_depth_);
            return false;
        }
        Json* added = add(std::move(container));
        if (added == nullptr) return false;
        open_.push_back(added);
        keys_.emplace_back();
        return true;
    }
    bool close() {
        open_.pop_back();
        keys_.pop_back();
        return true;
    }

    std::size_t most_depth_, most_values_;
    std::size_t values_ = 0;
    std::vector<Json*> open_;  // only the innermost container grows, so the pointers to the outer ones hold
    std::vector<std::unordered_set<std::string>> keys_;
    std::string key_;
    std::string fault_;
    std::optional<std::size_t> fault_at_;
};

// "line 3, column 12" of the byte before `position` (the parser counts the byte it stumbled over as read).
std::string place(std::string_view text, std::size_t position) {
    const std::string_view before = text.substr(0, std::min(position > 0 ? position - 1 : 0, text.size()));
    const auto line = 1 + std::count(before.begin(), before.end(), '\n');
    const std::size_t start = before.rfind('\n') == std::string_view::npos ? 0 : before.rfind('\n') + 1;
    return fmt::format("line {}, column {}", line, decode_utf8(before.substr(start)).size() + 1);
}

// The parser reports where it gave up only for faults of its own; ours are found by asking how much it had read.
struct CountingReader {
    using value_type = char;
    using difference_type = std::ptrdiff_t;
    using pointer = const char*;
    using reference = const char&;
    using iterator_category = std::input_iterator_tag;
    const char* at = nullptr;
    const char** furthest = nullptr;
    const char& operator*() const { return *at; }
    CountingReader& operator++() {
        ++at;
        *furthest = at;
        return *this;
    }
    bool operator==(const CountingReader& other) const { return at == other.at; }
    bool operator!=(const CountingReader& other) const { return at != other.at; }
};

std::string_view type_name(const Json& value) {
    switch (value.type()) {
        case Json::value_t::null:
            return "null";
        case Json::value_t::object:
            return "an object";
        case Json::value_t::array:
            return "an array";
        case Json::value_t::string:
            return "a text";
        case Json::value_t::boolean:
            return "true or false";
        default:
            return "a number";
    }
}

}  // namespace

const Json* member(const Json& object, const char* key) {
    if (!object.is_object()) return nullptr;
    const auto at = object.find(key);
    return at == object.end() || at->is_null() ? nullptr : &*at;
}

Json number_or_null(double value) {
    return std::isfinite(value) ? Json(value) : Json(nullptr);
}

Json number_or_null(const std::optional<double>& value) {
    return value ? number_or_null(*value) : Json(nullptr);
}

std::string json_text(const Json& value, int indent, bool ascii) {
    return value.dump(indent, ' ', ascii, Json::error_handler_t::replace);
}

Result<Json> parse_json(std::string_view text, std::string_view origin, const JsonLimits& limits) {
    const std::string name = one_line(origin, 200);
    if (text.size() > limits.bytes) {
        return bad_input(
            fmt::format("{}: {} bytes are too many; at most {} are read", name, text.size(), limits.bytes));
    }
    if (text.find_first_not_of(" \t\r\n") == std::string_view::npos) {
        return bad_input(fmt::format("{}: empty; JSON is expected", name));
    }
    BoundedBuilder builder(limits);
    const char* furthest = text.data();
    const CountingReader first{text.data(), &furthest};
    const CountingReader last{text.data() + text.size(), &furthest};
    bool read = false;
    try {
        read = Json::sax_parse(first, last, &builder);
    } catch (const std::exception& fault) {
        return bad_input(fmt::format("{}: cannot be read: {}", name, one_line(fault.what(), 200)));
    }
    if (!read) {
        const std::size_t position = builder.fault_at().value_or(static_cast<std::size_t>(furthest - text.data()));
        return bad_input(fmt::format("{}: {}: {}", name, place(text, position), one_line(builder.fault(), 200)));
    }
    return std::move(builder.result);
}

Result<std::string> read_text(const std::filesystem::path& path, std::size_t most_bytes) {
    const std::string name = one_line(path.string(), 200);
    std::error_code fault;
    const auto status = std::filesystem::status(path, fault);
    if (!std::filesystem::exists(status)) return bad_input(name + ": there is no such file; check its name and folder");
    if (std::filesystem::is_directory(status)) return bad_input(name + ": is a folder; name a file");
    std::ifstream file(path, std::ios::binary);
    if (!file) return bad_input(name + ": cannot be opened; check its permissions");
    std::string text;
    std::array<char, 65536> block{};
    while (file && text.size() <= most_bytes) {
        const std::size_t wanted = std::min(block.size(), most_bytes + 1 - text.size());
        file.read(block.data(), static_cast<std::streamsize>(wanted));
        text.append(block.data(), static_cast<std::size_t>(file.gcount()));
    }
    if (file.bad()) return bad_input(name + ": cannot be read to its end");
    if (text.size() > most_bytes) {
        return bad_input(fmt::format("{}: longer than {} bytes; this cannot be the file meant", name, most_bytes));
    }
    return text;
}

Result<Json> read_json(const std::filesystem::path& path, const JsonLimits& limits) {
    auto text = read_text(path, limits.bytes);
    if (!text) return text.error();
    return parse_json(*text, path.string(), limits);
}

ObjectReader::ObjectReader(const Json& json, std::string_view origin, std::initializer_list<std::string_view> allowed)
    : ObjectReader(json, std::make_shared<Shared>(Shared{one_line(origin, 200), std::nullopt}), "") {
    check_keys(allowed);
}

ObjectReader::ObjectReader(const Json& json, std::shared_ptr<Shared> shared, std::string path)
    : json_(&json), shared_(std::move(shared)), path_(std::move(path)) {}

void ObjectReader::check_keys(const std::vector<std::string_view>& allowed) {
    if (shared_->error) return;
    if (!json_->is_object()) {
        const std::string where = path_.empty() ? "" : path_ + ": ";
        shared_->error = bad_input(
            fmt::format("{}: {}an object {{...}} is expected, not {}", shared_->origin, where, type_name(*json_)));
        return;
    }
    for (const auto& entry : json_->items()) {
        const std::string& key = entry.key();
        if (std::find(allowed.begin(), allowed.end(), key) != allowed.end()) continue;
        if (const auto nearest = nearest_of(key, allowed)) {
            fail(key, fmt::format("unknown key; did you mean {}?", in_quotes(*nearest)));
        } else {
            fail(key, fmt::format("unknown key; known here: {}", fmt::join(allowed, ", ")));
        }
        return;
    }
}

std::string ObjectReader::path_of(std::string_view key) const {
    const std::string name = one_line(key, 60);
    return path_.empty() ? name : path_ + '.' + name;
}

const Json* ObjectReader::find(std::string_view key) const {
    if (!json_->is_object()) return nullptr;
    const auto entry = json_->find(key);
    return entry == json_->end() || entry->is_null() ? nullptr : &*entry;
}

const Json* ObjectReader::require(std::string_view key) {
    const Json* value = find(key);
    if (value == nullptr) miss(key);
    return value;
}

bool ObjectReader::has(std::string_view key) const {
    return find(key) != nullptr;
}

void ObjectReader::fail(std::string_view key, std::string_view sentence) {
    if (!shared_->error) shared_->error = bad_input(fmt::format("{}: {}: {}", shared_->origin, path_of(key), sentence));
}

void ObjectReader::miss(std::string_view key) {
    fail(key, "missing; add it");
}

const std::optional<Error>& ObjectReader::error() const {
    return shared_->error;
}

double ObjectReader::quantity_of(const Json& value, std::string_view key, Unit unit) {
    if (value.is_number()) return value.get<double>();  // the parser has refused numbers beyond a double
    if (!value.is_string()) {
        fail(key, fmt::format("a quantity is expected (a text or an SI number), not {}", type_name(value)));
        return 0;
    }
    const auto parsed = parse_quantity(value.get_ref<const std::string&>(), unit);
    if (parsed) return *parsed;
    fail(key, parsed.error().message);
    return 0;
}

double ObjectReader::quantity(std::string_view key, Unit unit) {
    const Json* value = require(key);
    return value == nullptr ? 0 : quantity_of(*value, key, unit);
}

std::optional<double> ObjectReader::optional_quantity(std::string_view key, Unit unit) {
    const Json* value = find(key);
    if (value == nullptr) return std::nullopt;
    return quantity_of(*value, key, unit);
}

bool ObjectReader::boolean_or(std::string_view key, bool otherwise) {
    const Json* value = find(key);
    if (value == nullptr) return otherwise;
    if (value->is_boolean()) return value->get<bool>();
    fail(key, fmt::format("true or false is expected, not {}", type_name(*value)));
    return otherwise;
}

double ObjectReader::number(std::string_view key, double least, double most) {
    const Json* value = require(key);
    if (value == nullptr) return least;
    const double number = value->is_number() ? value->get<double>() : std::nan("");
    if (number >= least && number <= most) return number;
    fail(key, fmt::format("a number from {} to {} is expected", least, most));
    return least;
}

std::vector<double> ObjectReader::numbers(std::string_view key) {
    const Json* value = require(key);
    if (value == nullptr) return {};
    if (!value->is_array()) {
        fail(key, fmt::format("an array of numbers is expected, not {}", type_name(*value)));
        return {};
    }
    std::vector<double> found;
    found.reserve(value->size());
    for (const Json& element : *value) {
        if (!element.is_number()) {
            fail(key, fmt::format("only numbers are expected in it, not {}", type_name(element)));
            return {};
        }
        found.push_back(element.get<double>());
    }
    return found;
}

std::int64_t ObjectReader::integer(std::string_view key, std::int64_t least, std::int64_t most) {
    const Json* value = require(key);
    if (value == nullptr) return least;
    // Unsigned numbers beyond a signed one would wrap around: they are out of range anyway.
    const bool fits = value->is_number_integer() &&
                      (!value->is_number_unsigned() || value->get<std::uint64_t>() <= std::uint64_t{INT64_MAX});
    const std::int64_t number = fits ? value->get<std::int64_t>() : 0;
    if (fits && number >= least && number <= most) return number;
    fail(key, fmt::format("a whole number from {} to {} is expected", least, most));
    return least;
}

std::string ObjectReader::text_of(const Json& value, std::string_view key, std::size_t longest) {
    if (!value.is_string()) {
        fail(key, fmt::format("a text is expected, not {}", type_name(value)));
        return {};
    }
    const auto& text = value.get_ref<const std::string&>();
    if (text.size() > longest) {
        fail(key, fmt::format("the text is too long ({} bytes, at most {})", text.size(), longest));
        return {};
    }
    if (one_line(text, longest) != text) {
        fail(key, "the text holds control characters; write it on one line");
        return {};
    }
    return text;
}

std::string ObjectReader::text(std::string_view key, std::size_t longest) {
    const Json* value = require(key);
    return value == nullptr ? std::string() : text_of(*value, key, longest);
}

std::string ObjectReader::text_or(std::string_view key, std::string_view otherwise, std::size_t longest) {
    const Json* value = find(key);
    return value == nullptr ? std::string(otherwise) : text_of(*value, key, longest);
}

std::optional<ObjectReader> ObjectReader::object(std::string_view key,
                                                 std::initializer_list<std::string_view> allowed) {
    const Json* value = find(key);
    if (value == nullptr) return std::nullopt;
    ObjectReader reader(*value, shared_, path_of(key));
    reader.check_keys(allowed);
    return reader;
}

std::vector<std::pair<const Json*, std::string>> ObjectReader::elements(std::string_view key) const {
    const Json* value = find(key);
    if (value == nullptr) return {};
    if (!value->is_array()) return {{value, path_of(key)}};
    std::vector<std::pair<const Json*, std::string>> found;
    for (std::size_t i = 0; i < value->size(); ++i)
        found.emplace_back(&(*value)[i], path_of(fmt::format("{}[{}]", key, i)));
    return found;
}

std::vector<ObjectReader> ObjectReader::objects(std::string_view key, std::initializer_list<std::string_view> allowed) {
    std::vector<ObjectReader> readers;
    for (auto& [value, path] : elements(key)) {
        readers.push_back(ObjectReader(*value, shared_, std::move(path)));
        readers.back().check_keys(allowed);
    }
    return readers;
}

std::vector<ObjectReader> ObjectReader::objects_of_kinds(std::string_view key, std::string_view kind_key,
                                                         const std::vector<Kind>& kinds) {
    std::vector<std::string_view> names(kinds.size());
    std::transform(kinds.begin(), kinds.end(), names.begin(), [](const Kind& kind) { return kind.name; });
    std::vector<ObjectReader> readers;
    for (auto& [value, path] : elements(key)) {
        ObjectReader reader(*value, shared_, std::move(path));
        if (!value->is_object()) {
            reader.check_keys({});
            continue;
        }
        const std::string name = reader.text(kind_key);
        const auto kind = std::find_if(kinds.begin(), kinds.end(), [&](const Kind& k) { return k.name == name; });
        if (kind == kinds.end()) {
            reader.fail(kind_key, fmt::format("{} is unknown; known: {}", in_quotes(name), fmt::join(names, ", ")));
            continue;
        }
        std::vector<std::string_view> allowed = kind->keys;
        allowed.insert(allowed.begin(), kind_key);
        reader.check_keys(allowed);
        readers.push_back(std::move(reader));
    }
    return readers;
}

}  // namespace coldtune::record
