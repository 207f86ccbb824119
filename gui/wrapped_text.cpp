#include "gui/wrapped_text.hpp"

#include <algorithm>

namespace coldtune::gui {
namespace {

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}

// The length of the first whole UTF-8 character.
std::size_t first_character(std::string_view text) {
    std::size_t size = 1;
    while (size < text.size() && (static_cast<unsigned char>(text[size]) & 0xC0) == 0x80) ++size;
    return size;
}

// "mm", "kHz", "%", "\u00b0C", "\u00b1", "+-": what belongs to the figure before it. A short word that is no unit only
// makes a line a little shorter.
bool belongs_to_figure(std::string_view word) {
    constexpr std::size_t kLongestUnit = 5;  // bytes; "\u00b5s" and "k\u2126" among them
    while (!word.empty() && (word.back() == ',' || word.back() == '.' || word.back() == ';' || word.back() == ')')) {
        word.remove_suffix(1);
    }
    if (word.empty() || word.size() > kLongestUnit || is_digit(word.front())) return false;
    if (word == "turns" || word == "%" || word == "+-" || word == "\u00b1") return true;
    constexpr std::string_view kSymbols = "mFHzVASWsdBC";
    const auto symbol = word.back();
    return kSymbols.find(symbol) != std::string_view::npos && word.size() <= 4 && word != "as" && word != "is" &&
           word != "has" && word != "was";
}

// The end of what has to stay together from `from` on.
std::size_t piece_end(std::string_view text, std::size_t from) {
    std::size_t end = std::min(text.find(' ', from), text.size());
    while (end < text.size()) {
        const std::size_t next = text.find_first_not_of(' ', end);
        if (next == std::string_view::npos) break;
        const std::size_t next_end = std::min(text.find(' ', next), text.size());
        const std::string_view word = text.substr(next, next_end - next);
        const std::string_view before = text.substr(from, end - from);
        const bool after_sign = before.ends_with("\u00b1") || before.ends_with("+-");
        if (!after_sign && !(is_digit(text[end - 1]) && belongs_to_figure(word))) break;
        end = next_end;
    }
    return end;
}

void wrap_line(std::string_view text, float width, const TextWidth& width_of, std::string& out) {
    std::string line;
    const auto flush = [&] {
        out += line;
        out += '\n';
        line.clear();
    };
    std::size_t at = 0;
    while (at < text.size()) {
        const std::size_t word = text.find_first_not_of(' ', at);
        if (word == std::string_view::npos) break;
        const std::size_t end = piece_end(text, word);
        std::string_view piece = text.substr(word, end - word);
        // The spaces before it stay as they are, except at a break.
        std::string longer = line + std::string(text.substr(at, end - at));
        if (width_of(longer) > width && !line.empty()) {
            flush();
            longer = std::string(piece);
        }
        while (width_of(longer) > width && longer.size() > first_character(longer)) {
            std::size_t cut = first_character(longer);
            for (std::size_t next = cut; next < longer.size(); next += first_character(longer.substr(next))) {
                if (width_of(std::string_view(longer).substr(0, next)) > width) break;
                cut = next;
            }
            line = longer.substr(0, cut);
            flush();
            longer.erase(0, cut);
        }
        line = std::move(longer);
        at = end;
    }
    if (line.empty()) line = std::string(text.substr(std::min(at, text.size())));
    out += line;
}

}  // namespace

std::string wrapped(std::string_view text, float width, const TextWidth& width_of) {
    std::string out;
    for (std::size_t from = 0; from <= text.size();) {
        const std::size_t end = std::min(text.find('\n', from), text.size());
        if (from > 0) out += '\n';
        wrap_line(text.substr(from, end - from), width, width_of, out);
        from = end + 1;
    }
    return out;
}

std::string on_one_line(std::string_view text, float width, const TextWidth& width_of) {
    std::string line(text);
    std::replace(line.begin(), line.end(), '\n', ' ');
    if (width_of(line) <= width) return line;
    constexpr std::string_view kMore = "\u2026";
    std::size_t kept = 0;
    for (std::size_t next = 0; next < line.size();) {
        next += first_character(std::string_view(line).substr(next));
        if (width_of(line.substr(0, next) + std::string(kMore)) > width) break;
        kept = next;
    }
    line.resize(kept);
    while (!line.empty() && line.back() == ' ') line.pop_back();
    return line + std::string(kMore);
}

}  // namespace coldtune::gui
