// Where a book and what belongs to it lie, and which file names a book may speak of.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::book {

struct Places {
    std::filesystem::path book;              // .../NAME.json, links resolved
    std::filesystem::path captures;          // .../NAME.captures
    std::filesystem::path saves;             // .../NAME.saves
    std::filesystem::path lock;              // .../NAME.lock, there while somebody has the book open for writing
    [[nodiscard]] std::string name() const;  // the book's path as messages call it
};

// Nothing need be there yet. Errors (usage): a name that does not end in .json; (bad_input) a link that cannot be
// followed.
Result<Places> places_of(const std::filesystem::path& book);

// What a book may call a file of its own: at most 120 letters, digits, '-', '_' and '.', not beginning with a '.'. So
// it can name no other folder, no hidden file, and nothing a terminal would obey.
bool is_plain_file_name(std::string_view text);

// A real folder of ours, made if `make`; a link in its place is refused, as it could lead anywhere.
Status require_folder(const std::filesystem::path& folder, bool make);

}  // namespace coldtune::book
