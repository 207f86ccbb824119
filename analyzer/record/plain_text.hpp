// Text from outside made fit for one line of a message: names, file contents, whatever somebody typed.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace coldtune::record {

// Unicode code points of UTF-8 text. Every byte that is no part of valid UTF-8 (overlong forms and surrogates included)
// becomes one U+FFFD, so that a position counted in the result is the position a person counts on the screen.
std::u32string decode_utf8(std::string_view text);
std::string encode_utf8(std::u32string_view text);

// `text` on one line of at most `max_characters`: control characters (a terminal would obey them) and invalid bytes
// become '?', longer text ends in "...".
std::string one_line(std::string_view text, std::size_t max_characters = 80);

// The same between double quotes, for messages that quote their cause.
std::string in_quotes(std::string_view text, std::size_t max_characters = 40);

// The candidate closest to `word` in insertions, deletions, replacements and swapped neighbours, or nullopt when none
// is close enough to be a slip (at most a third of the longer word, at least one). For "did you mean ...".
std::optional<std::string_view> nearest_of(std::string_view word, std::span<const std::string_view> candidates);

}  // namespace coldtune::record
