// A bench book on paper.
#pragma once

#include <string>
#include <vector>

#include "analyzer/book/book_file.hpp"
#include "analyzer/measure/known_result.hpp"
#include "analyzer/share/report.hpp"

namespace coldtune::share {

struct BookPages {
    std::vector<ReportRun> runs;                 // in the order of the book
    std::vector<measure::KnownResult> known;     // of the same runs, those that say something to tune with
    std::optional<model::CoilDescription> coil;  // of the run the pages are about
    int coil_version = 0;
    // Of the last tank: that one says where its tap was.
    std::optional<model::CoilDescription> tank_coil;
    std::string tank_coil_name;        // "coil version 2"
    std::vector<std::string> remarks;  // what could not be read and is therefore left out or not drawn
};

// The runs of a book, or those chosen (`book::choose_run` texts). Numbers come from the book itself, the curves that
// will be drawn (the last ones of each hookup) from the runs' files. Errors: (usage) no such run; (bad_input) no run at
// all or none that is as it was kept, a result in the book that is none.
// A run marked `altered` is left out and named in the remarks, as is the description of a coil marked so; runs without
// a seal are held against their files.
Result<BookPages> pages_of(const book::Book& book, const book::Places& places, const std::vector<std::string>& chosen);

}  // namespace coldtune::share
