#include "analyzer/audio/capture_note.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_note(std::string_view bytes) {
    const auto first = audio::parse_note(bytes);
    if (!first) return;
    const std::string text = audio::note_text(first->note, first->sample_rate_hz);
    require(text.size() <= 2000, "a note fits into the comment of a file");
    const auto second = audio::parse_note(text);
    require(second.has_value(), "a written note can be read: " + text);
    require(audio::note_text(second->note, second->sample_rate_hz) == text, "a note comes back unchanged: " + text);
}

}  // namespace coldtune::fuzz
