// Reading a kept result key by key (internal to kept_*.cpp).
#pragma once

#include <fmt/format.h>

#include <cmath>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "analyzer/record/json_text.hpp"
#include "analyzer/record/plain_text.hpp"
#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::measure {

// Keeps the first thing that was wrong; after it every read returns the harmless default.
class KeptReader {
public:
    explicit KeptReader(std::string_view origin) : origin_(origin) {}

    [[nodiscard]] const std::optional<Error>& error() const { return error_; }
    void fail(const std::string& path, std::string_view what) {
        if (!error_) {
            error_ = bad_input(fmt::format("{}: {}{}; give the output of analyze --json --curve",
                                           record::one_line(origin_, 200), path.empty() ? "" : path + ": ", what));
        }
    }
    // Null and absent are the same.
    static const record::Json* find(const record::Json& object, const char* key) {
        const auto at = object.find(key);
        return at == object.end() || at->is_null() ? nullptr : &*at;
    }
    const record::Json* object(const record::Json& parent, const char* key) {
        return typed(parent, key, &record::Json::is_object, "an object");
    }
    const record::Json* array(const record::Json& parent, const char* key) {
        return typed(parent, key, &record::Json::is_array, "a list");
    }

    double number(const record::Json& object, const std::string& path, const char* key, bool positive) {
        const std::optional<double> value = optional_number(object, path, key);
        if (!value) fail(path + key, "is missing");
        if (value && positive && !(*value > 0)) fail(path + key, "must be greater than 0");
        return value.value_or(0);
    }
    std::optional<double> optional_number(const record::Json& object, const std::string& path, const char* key) {
        const record::Json* found = find(object, key);
        if (found == nullptr) return std::nullopt;
        if (!found->is_number() || !std::isfinite(found->get<double>())) {
            fail(path + key, "must be a number");
            return std::nullopt;
        }
        return found->get<double>();
    }
    std::size_t count(const record::Json& object, const char* key) {
        const double value = optional_number(object, "", key).value_or(0);
        if (!(value >= 0 && value <= 1e15)) fail(key, "must be a count");
        return error_ ? 0 : static_cast<std::size_t>(value);
    }
    std::string text(const record::Json& object, const std::string& path, const char* key) {
        const record::Json* found = find(object, key);
        if (found == nullptr) return {};
        if (!found->is_string()) {
            fail(path + key, "must be a text");
            return {};
        }
        return found->get<std::string>();
    }
    dsp::Band band(const record::Json& object, const std::string& path, const char* key) {
        const record::Json* found = find(object, key);
        if (found == nullptr) return {};
        if (!found->is_array() || found->size() != 2 || !(*found)[0].is_number() || !(*found)[1].is_number()) {
            fail(path + key, "must be two frequencies");
            return {};
        }
        return {(*found)[0].get<double>(), (*found)[1].get<double>()};
    }
    // Numbers, null as NaN.
    std::vector<double> column(const record::Json& object, const std::string& path, const char* key) {
        std::vector<double> values;
        const record::Json* found = array(object, key);
        if (found == nullptr) return values;
        values.reserve(found->size());
        for (const record::Json& v : *found) {
            if (!v.is_number() && !v.is_null()) {
                fail(path + key, fmt::format("entry {} is no number", values.size() + 1));
                return {};
            }
            values.push_back(v.is_null() ? std::numeric_limits<double>::quiet_NaN() : v.get<double>());
        }
        return values;
    }

private:
    const record::Json* typed(const record::Json& parent, const char* key, bool (record::Json::*is)() const noexcept,
                              const char* what) {
        const record::Json* found = find(parent, key);
        if (found == nullptr || (found->*is)()) return found;
        fail(key, fmt::format("must be {}", what));
        return nullptr;
    }

    std::string origin_;
    std::optional<Error> error_;
};

}  // namespace coldtune::measure
