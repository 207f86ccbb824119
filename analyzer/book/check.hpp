// Whether a book and what belongs to it are as they were put there.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "analyzer/book/runs.hpp"

namespace coldtune::book {

struct CheckFinding {
    bool wrong = true;     // false: worth knowing
    std::string where;     // "run 3", "0002-open.flac"
    std::string sentence;  // what is the matter
};

struct CheckReport {
    std::size_t files = 0;       // looked at
    std::size_t runs = 0;        // in the book
    std::size_t runs_again = 0;  // analysed again
    std::size_t runs_same = 0;   // of those, bit for bit as stored
    std::vector<CheckFinding> findings;
    [[nodiscard]] bool sound() const;
};

// Every entry against its seal, or, without one, every run against the file of its result; every kept file against its
// size and checksum; files nobody speaks of; with `again` every run analysed anew and compared with what is stored (an
// entry that was changed: with what it was). `progress` (may be empty) hears the number of the run about to be
// analysed.
CheckReport check_book(Book book, const Places& places, bool again, const std::function<void(int)>& progress);

}  // namespace coldtune::book
