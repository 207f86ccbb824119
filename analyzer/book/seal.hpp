// What tells that an entry of the book was changed after it was kept, in a text editor say.
//
// Every coil version, interface, capture and run carries a seal from the moment it is made: the SHA-256 of all it says
// but a run's name and notes, which are the person's own words. It is never made again, so a later save does not cover
// a change up. It guards against slips, not against somebody who makes a seal of his own.
#pragma once

#include <string>

#include "analyzer/book/book.hpp"

namespace coldtune::book {

// Of an entry as the book's text has it; "name", "notes" and "seal" do not count. The values decide and not how they
// are written: spaces, the order of keys, 10000 or 10000.0, a null or nothing are all the same.
std::string seal_of(const record::Json& entry);
std::string seal_of(const CoilVersion& coil);
std::string seal_of(const Interface& interface);
std::string seal_of(const KeptCapture& capture);
std::string seal_of(const Run& run);

}  // namespace coldtune::book
