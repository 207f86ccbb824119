#include <algorithm>
#include <stdexcept>

#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void require(bool holds, std::string_view sentence) {
    if (!holds) throw std::logic_error(std::string(sentence));
}

void require_refusal(std::string_view message) {
    require(!message.empty(), "a refusal says why");
    // Longest so far: a path of 200 characters, a place in the file, a quotation, what would be right.
    require(message.size() <= 2000, "a refusal is one sentence: " + std::string(message.substr(0, 2000)));
    const bool readable = std::none_of(message.begin(), message.end(), [](char c) {
        const auto byte = static_cast<unsigned char>(c);
        return byte < 0x20 || byte == 0x7F;
    });
    require(readable, "a refusal has no control characters: " + std::string(message));
}

}  // namespace coldtune::fuzz
