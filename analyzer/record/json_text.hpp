// JSON in and out, the same way for every command and file of ours (RFC 8259, through nlohmann-json).
//
// Out: decimal points whatever the locale, shortest digits that read back to the same double, NaN and infinity as null,
// object keys in the order they were put in. In: bounded against hostile files, errors with line and column, objects
// read strictly.
//
// Include <nlohmann/json.hpp> in the .cpp that uses this; here the type is only named.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <initializer_list>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "analyzer/record/quantity.hpp"
#include "dsp/result.hpp"

namespace coldtune::record {

using Json = nlohmann::ordered_json;

// JSON text of `value`. `indent` < 0 gives one line without spaces, else that many spaces a level. Bytes that are not
// UTF-8 become U+FFFD. With `ascii` everything beyond ASCII is written as \u escapes.
std::string json_text(const Json& value, int indent = 2, bool ascii = false);

// What an object holds under a key; nullptr when it is no object, holds no such key, or null.
const Json* member(const Json& object, const char* key);

// A number, or null where there is none (empty, NaN, infinite).
Json number_or_null(double value);
Json number_or_null(const std::optional<double>& value);

struct JsonLimits {
    std::size_t bytes = std::size_t{64} << 20;
    std::size_t depth = 32;  // nested arrays and objects
    // Values of any kind, each of which takes many times the memory of its text. The default never binds before
    // `bytes`.
    std::size_t values = SIZE_MAX;
};

// The one JSON value `text` holds. Errors (bad_input, one line): "ORIGIN: line 3, column 12: ..." for text that is not
// JSON (no comments, nothing after the value, numbers within a double), a key given twice in one object, nesting or
// size beyond the limits. Columns count characters from 1.
Result<Json> parse_json(std::string_view text, std::string_view origin, const JsonLimits& limits = {});

// The same from a file; `path` is the origin. A missing, empty, unreadable or too long file is an error with its name.
Result<Json> read_json(const std::filesystem::path& path, const JsonLimits& limits = {});

// Whole content of a text file, refused beyond `most_bytes` before more than that is held.
Result<std::string> read_text(const std::filesystem::path& path, std::size_t most_bytes);

// Reads objects strictly and keeps the first thing that was wrong, so that a reader of a whole file is a list of fields
// and one look at `error()` in the end. After an error every read returns the harmless default.
//
//     ObjectReader root(json, "coil.json", {"name", "secondary"});
//     coil.name = root.text_or("name", "");
//     if (const auto secondary = root.object("secondary", {"diameter", ...})) ...
//     if (root.error()) return *root.error();
//
// Messages read "coil.json: secondary.length: ...". A key outside the allowed ones is an error as soon as the reader is
// made, with the nearest allowed key as a suggestion. A null counts as absent. `json` must outlive the reader.
class ObjectReader {
public:
    ObjectReader(const Json& json, std::string_view origin, std::initializer_list<std::string_view> allowed);

    [[nodiscard]] bool has(std::string_view key) const;

    // A physical quantity: a number in SI units, or a string for parse_quantity. Always finite.
    double quantity(std::string_view key, Unit unit);
    std::optional<double> optional_quantity(std::string_view key, Unit unit);

    bool boolean_or(std::string_view key, bool otherwise);
    // A plain number from `least` to `most`, no text with a unit.
    double number(std::string_view key, double least, double most);
    // A whole number from `least` to `most`.
    std::int64_t integer(std::string_view key, std::int64_t least, std::int64_t most);
    // Text of at most `longest` bytes without control characters.
    std::string text(std::string_view key, std::size_t longest = 200);
    std::string text_or(std::string_view key, std::string_view otherwise, std::size_t longest = 200);

    // The object under `key`; nullopt (without an error) when it is absent. Its errors are this reader's errors.
    std::optional<ObjectReader> object(std::string_view key, std::initializer_list<std::string_view> allowed);
    // The objects of the array under `key`, or the one object that stands there without an array; none when absent.
    std::vector<ObjectReader> objects(std::string_view key, std::initializer_list<std::string_view> allowed);
    // The same when the allowed keys depend on the text under `kind_key` ("shape"): one list of keys (without
    // `kind_key`) for each kind.
    struct Kind {
        std::string_view name;
        std::vector<std::string_view> keys;
    };
    std::vector<ObjectReader> objects_of_kinds(std::string_view key, std::string_view kind_key,
                                               const std::vector<Kind>& kinds);

    // The numbers of the array under `key`; an element that is none (or a missing array) is an error.
    std::vector<double> numbers(std::string_view key);
    // The value itself, for what is kept whole; nullptr (and no error) when it is absent.
    [[nodiscard]] const Json* whole(std::string_view key) const { return find(key); }
    // How messages call `key` here: "runs[3].settings.key".
    [[nodiscard]] std::string path_of(std::string_view key) const;

    // Records that `key` is wrong, unless something was before: "ORIGIN: PATH.key: sentence".
    void fail(std::string_view key, std::string_view sentence);
    // Records that a required key is missing.
    void miss(std::string_view key);

    [[nodiscard]] const std::optional<Error>& error() const;

private:
    struct Shared {
        std::string origin;
        std::optional<Error> error;
    };
    ObjectReader(const Json& json, std::shared_ptr<Shared> shared, std::string path);
    void check_keys(const std::vector<std::string_view>& allowed);
    [[nodiscard]] const Json* find(std::string_view key) const;
    const Json* require(std::string_view key);
    std::vector<std::pair<const Json*, std::string>> elements(std::string_view key) const;
    double quantity_of(const Json& value, std::string_view key, Unit unit);
    std::string text_of(const Json& value, std::string_view key, std::size_t longest);

    const Json* json_;
    std::shared_ptr<Shared> shared_;  // one for a root and all its descendants
    std::string path_;
};

}  // namespace coldtune::record
