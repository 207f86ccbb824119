#include "analyzer/record/markup.hpp"

#include "analyzer/record/plain_text.hpp"

namespace coldtune::record {

std::string markup_text(std::string_view text) {
    std::u32string clean;
    for (char32_t c : decode_utf8(text)) {
        // What XML 1.0 does not allow at all; line ends become spaces.
        const bool control = c < 0x20 || c == 0x7F || (c >= 0x80 && c < 0xA0);
        if (c == U'\n' || c == U'\t') clean += U' ';
        if (control || c == 0xFFFE || c == 0xFFFF) continue;
        clean += c;
    }
    std::string out;
    for (char c : encode_utf8(clean)) {
        switch (c) {
            case '&':
                out += "&amp;";
                break;
            case '<':
                out += "&lt;";
                break;
            case '>':
                out += "&gt;";
                break;
            case '"':
                out += "&quot;";
                break;
            case '\'':
                out += "&#39;";
                break;
            default:
                out += c;
        }
    }
    return out;
}

}  // namespace coldtune::record
