#include "analyzer/record/plain_text.hpp"

#include <algorithm>
#include <cstdint>
#include <vector>

namespace coldtune::record {
namespace {

constexpr char32_t replacement = U'\uFFFD';

// Length of the UTF-8 sequence a lead byte announces, 0 if it cannot lead.
std::size_t announced_length(unsigned char lead) {
    if (lead < 0x80) return 1;
    if (lead >= 0xC2 && lead <= 0xDF) return 2;
    if (lead >= 0xE0 && lead <= 0xEF) return 3;
    if (lead >= 0xF0 && lead <= 0xF4) return 4;
    return 0;
}

// One code point from the front of `rest`; `used` bytes were taken.
char32_t take_code_point(std::string_view rest, std::size_t& used) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(rest[i]); };
    const std::size_t length = announced_length(byte(0));
    used = 1;
    if (length == 0 || length > rest.size()) return replacement;
    if (length == 1) return byte(0);
    static constexpr unsigned char lead_bits[] = {0, 0x7F, 0x1F, 0x0F, 0x07};
    char32_t value = static_cast<char32_t>(byte(0) & lead_bits[length]);
    for (std::size_t i = 1; i < length; ++i) {
        if ((byte(i) & 0xC0) != 0x80) return replacement;
        value = (value << 6) | (byte(i) & 0x3F);
    }
    static constexpr char32_t smallest[] = {0, 0, 0x80, 0x800, 0x10000};
    const bool surrogate = value >= 0xD800 && value <= 0xDFFF;
    if (value < smallest[length] || surrogate || value > 0x10FFFF) return replacement;
    used = length;
    return value;
}

bool is_control(char32_t c) {
    return c < 0x20 || (c >= 0x7F && c <= 0x9F) || c == U'\u2028' || c == U'\u2029';
}

// Optimal string alignment distance: the usual three edits plus a swap of neighbours.
std::size_t edit_distance(std::string_view a, std::string_view b) {
    std::vector<std::size_t> before(b.size() + 1);
    std::vector<std::size_t> above(b.size() + 1);
    std::vector<std::size_t> row(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j) above[j] = j;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const std::size_t replace = above[j - 1] + (a[i - 1] == b[j - 1] ? 0 : 1);
            row[j] = std::min({replace, above[j] + 1, row[j - 1] + 1});
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                row[j] = std::min(row[j], before[j - 2] + 1);
            }
        }
        std::swap(before, above);
        std::swap(above, row);
    }
    return above[b.size()];
}

}  // namespace

std::u32string decode_utf8(std::string_view text) {
    std::u32string points;
    points.reserve(text.size());
    while (!text.empty()) {
        std::size_t used = 0;
        points.push_back(take_code_point(text, used));
        text.remove_prefix(used);
    }
    return points;
}

std::string encode_utf8(std::u32string_view text) {
    std::string bytes;
    const auto put = [&](std::uint32_t value) { bytes.push_back(static_cast<char>(value)); };
    for (const char32_t c : text) {
        const std::uint32_t v = c;
        if (v < 0x80) {
            put(v);
        } else if (v < 0x800) {
            put(0xC0 | (v >> 6));
            put(0x80 | (v & 0x3F));
        } else if (v < 0x10000) {
            put(0xE0 | (v >> 12));
            put(0x80 | ((v >> 6) & 0x3F));
            put(0x80 | (v & 0x3F));
        } else {
            put(0xF0 | (v >> 18));
            put(0x80 | ((v >> 12) & 0x3F));
            put(0x80 | ((v >> 6) & 0x3F));
            put(0x80 | (v & 0x3F));
        }
    }
    return bytes;
}

std::string one_line(std::string_view text, std::size_t max_characters) {
    // Four bytes a character at most: the rest of a hostile megabyte need not be decoded.
    const bool cut_bytes = text.size() > 4 * (max_characters + 1);
    std::u32string points = decode_utf8(cut_bytes ? text.substr(0, 4 * (max_characters + 1)) : text);
    for (char32_t& c : points) {
        if (is_control(c) || c == replacement) c = U'?';
    }
    if (points.size() > max_characters) {
        points.resize(max_characters);
        points += U"...";
    }
    return encode_utf8(points);
}

std::string in_quotes(std::string_view text, std::size_t max_characters) {
    return '"' + one_line(text, max_characters) + '"';
}

std::optional<std::string_view> nearest_of(std::string_view word, std::span<const std::string_view> candidates) {
    constexpr std::size_t longest_slip = 100;  // no key is that long, and the distance costs length squared
    if (word.size() > longest_slip) return std::nullopt;
    std::optional<std::string_view> best;
    std::size_t best_distance = 0;
    for (const std::string_view candidate : candidates) {
        const std::size_t allowed = std::max<std::size_t>(1, std::max(word.size(), candidate.size()) / 3);
        const std::size_t distance = edit_distance(word, candidate);
        if (distance <= allowed && (!best || distance < best_distance)) {
            best = candidate;
            best_distance = distance;
        }
    }
    return best;
}

}  // namespace coldtune::record
