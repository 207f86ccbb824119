// The one line of JSON that a capture carries in its comment. Used by capture_file.cpp.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "analyzer/audio/capture_file.hpp"

namespace coldtune::audio {

struct StoredNote {
    CaptureNote note;
    double sample_rate_hz = 0;  // 0 = not given
};

// ASCII only, at most 2000 bytes: the audio library's reader skips entries of 2048 bytes and more. Texts are cut to 100
// characters and rid of control characters; should that still be too long, the texts are left out one by one.
std::string note_text(const CaptureNote& note, double sample_rate_hz);

// nullopt for anybody else's comment and for a note of ours with a value out of range (it then says nothing reliable).
// Keys it does not know are passed over: a later version may have more to say.
std::optional<StoredNote> parse_note(std::string_view comment);

}  // namespace coldtune::audio
