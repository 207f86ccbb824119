// Entries of the book that are not as they were kept, found by their seals, and brought back where something still
// tells how they were.
#pragma once

#include <string>
#include <vector>

#include "analyzer/book/book.hpp"
#include "analyzer/book/places.hpp"

namespace coldtune::book {

struct Alteration {
    std::string where;      // "run 3", "coil version 1", "interface 1", "0001-foot.flac"
    int run = 0;            // its number where it is a run, else 0
    bool restored = false;  // the entry in memory is again as it was kept
    std::string sentence;   // what was changed, and what to do
    [[nodiscard]] std::string text() const { return where + ": " + sentence; }
};

// Marks every entry that parts from its seal as `altered`: nothing of it may then be shown or calculated with. Looks at
// no file. Entries of before there were seals are not looked at.
std::vector<Alteration> mark_alterations(Book& book);

// The same, and brings back what can be: a run's result from the file beside the captures, everything from the earlier
// saves; the seal says whether it is the right one. What was brought back is not marked. Reads files only if something
// is altered. For a book to be looked at: one that is saved must stay as its file has it.
std::vector<Alteration> settle_alterations(Book& book, const Places& places);

// Holds a run without a seal against the file of its result and takes the file's word. Nothing is said where that file
// is not as it was kept: that is a finding of its own.
std::vector<Alteration> settle_unsealed(Run& run, const Places& places);

// How many runs carry no seal.
std::size_t unsealed_runs(const Book& book);

// In one line of what a command says who opens the book for writing; "" without any.
std::string alterations_line(const std::vector<Alteration>& found, const Places& places);

}  // namespace coldtune::book
