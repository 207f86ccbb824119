// Whether a file may be written where a command was told to.
#pragma once

#include <span>
#include <string>

#include "dsp/result.hpp"

namespace coldtune::cli {

// Refuses (usage) to write over one of the `inputs`, into a bench book's own folders, and over an existing description,
// result, book or capture (.json, .wav, .flac), none of which an export or a report is; other files are written over.
Status check_target(const std::string& out, std::span<const std::string> inputs);

// The same for a command that writes a capture or a stimulus: what is there may be all that is left of an evening. It
// is written over with `replace` alone, and a book's own recordings never.
Status check_sound_target(const std::string& out, bool replace);

}  // namespace coldtune::cli
