// Whether a file may be written where a command was told to put what can always be made again.
#pragma once

#include <span>
#include <string>

#include "dsp/result.hpp"

namespace coldtune::cli {

// Refuses (usage) to write over one of the `inputs`, into a bench book's own folders, and over an existing description,
// result, book or capture (.json, .wav, .flac), none of which an export or a report is; other files are written over.
Status check_target(const std::string& out, std::span<const std::string> inputs);

}  // namespace coldtune::cli
