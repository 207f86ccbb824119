// Every reader of the program, fed with bytes as a stranger may have written them.
//
// A feed may refuse what it gets, but in one line; what it takes must hold together and come back unchanged when it is
// written and read again. libFuzzer invents the bytes (tests/fuzz/run), corpus_test replays the ones kept in
// fixtures/fuzz.
#pragma once

#include <array>
#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::fuzz {

void feed_bench(std::string_view bytes);       // BENCH.json
void feed_book(std::string_view bytes);        // a bench book
void feed_capture(std::string_view bytes);     // an audio file, as capture and as stimulus
void feed_coil(std::string_view bytes);        // COIL.json, also as the window's form
void feed_json(std::string_view bytes);        // what all files of ours stand on
void feed_note(std::string_view bytes);        // the note in an audio file's comment
void feed_quantity(std::string_view bytes);    // a typed text, taken for every unit and for a band
void feed_result(std::string_view bytes);      // a kept result
void feed_settings(std::string_view bytes);    // what the window remembers
void feed_table(std::string_view bytes);       // a response as comma-separated values
void feed_touchstone(std::string_view bytes);  // a response as Touchstone file

struct Reader {
    std::string_view name;  // also the folder of its corpus
    void (*feed)(std::string_view bytes);
};

inline constexpr std::array readers = {
    Reader{"bench", feed_bench},
    Reader{"book", feed_book},
    Reader{"capture", feed_capture},
    Reader{"coil", feed_coil},
    Reader{"json", feed_json},
    Reader{"note", feed_note},
    Reader{"quantity", feed_quantity},
    Reader{"result", feed_result},
    Reader{"settings", feed_settings},
    Reader{"table", feed_table},
    Reader{"touchstone", feed_touchstone},
};

// Throws std::logic_error with the sentence unless it holds: libFuzzer then keeps the bytes, GoogleTest shows it.
void require(bool holds, std::string_view sentence);

// A refusal is one line of readable length, without characters that a terminal would obey.
void require_refusal(std::string_view message);
inline void require_refusal(const Error& error) {
    require_refusal(error.message);
}

}  // namespace coldtune::fuzz
