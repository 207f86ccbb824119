// Walking through a text file from outside: lines with their numbers, words, numbers in any locale.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "dsp/result.hpp"

namespace coldtune::share {

// A response of more is a mistake or an attack.
inline constexpr std::size_t kLongestResponseFile = std::size_t{64} << 20;
inline constexpr std::size_t kMostPoints = std::size_t{1} << 22;

class TextLines {
public:
    TextLines(std::string_view text, std::string_view origin) : rest_(text), origin_(origin) {}
    // The next line without its end (LF, CR LF), nullopt at the end of the text.
    std::optional<std::string_view> next();
    [[nodiscard]] std::size_t number() const { return number_; }  // of the last one, from 1
    // "ORIGIN: line N: SENTENCE".
    [[nodiscard]] Error error(std::string_view sentence) const;

private:
    std::string_view rest_;
    std::string origin_;
    std::size_t number_ = 0;
};

// Separated by spaces and tabs; no more than `most` of them, so that one endless line does not fill the memory.
std::vector<std::string_view> words(std::string_view line, std::size_t most = 64);
std::string_view trimmed(std::string_view text);
std::string lower_case(std::string_view ascii);
// The whole text as one finite number with a decimal point; nullopt otherwise.
std::optional<double> number_in(std::string_view text);

}  // namespace coldtune::share
