// SHA-256 (FIPS 180-4) of texts and files, as 64 lower-case hexadecimal digits.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::record {

std::string sha256(std::string_view bytes);

// Whether a text could be such a sum.
bool is_sha256(std::string_view text);

struct FileSum {
    std::string sha256;
    std::uint64_t bytes = 0;
};

// Of an ordinary file, read in pieces: its size does not matter for memory. A link in the place of the file itself is
// an error, and so is anything that is no ordinary file: none of them is waited for. Errors are bad_input and name it.
Result<FileSum> sha256_of_file(const std::filesystem::path& path);

}  // namespace coldtune::record
