#include "analyzer/share/text_lines.hpp"

#include <fmt/format.h>

#include <charconv>
#include <cmath>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::share {
namespace {

constexpr std::string_view kBlanks = " \t\r\v\f";

}  // namespace

std::optional<std::string_view> TextLines::next() {
    if (rest_.empty()) return std::nullopt;
    ++number_;
    const std::size_t end = rest_.find('\n');
    std::string_view line = rest_.substr(0, end);
    rest_ = end == std::string_view::npos ? std::string_view() : rest_.substr(end + 1);
    if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
    return line;
}

Error TextLines::error(std::string_view sentence) const {
    return bad_input(fmt::format("{}: line {}: {}", record::one_line(origin_, 200), number_, sentence));
}

std::string_view trimmed(std::string_view text) {
    const std::size_t first = text.find_first_not_of(kBlanks);
    if (first == std::string_view::npos) return {};
    return text.substr(first, text.find_last_not_of(kBlanks) - first + 1);
}

std::vector<std::string_view> words(std::string_view line, std::size_t most) {
    std::vector<std::string_view> found;
    std::size_t at = 0;
    while (found.size() < most && (at = line.find_first_not_of(kBlanks, at)) != std::string_view::npos) {
        const std::size_t end = std::min(line.find_first_of(kBlanks, at), line.size());
        found.push_back(line.substr(at, end - at));
        at = end;
    }
    return found;
}

std::string lower_case(std::string_view ascii) {
    std::string out(ascii);
    for (char& c : out) {
        if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
    }
    return out;
}

std::optional<double> number_in(std::string_view text) {
    if (text.size() > 1 && text[0] == '+' && text[1] != '-') text.remove_prefix(1);
    double value = 0;
    const auto [end, what] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (what != std::errc() || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
    return value;
}

}  // namespace coldtune::share
