// The commands below `coldtune book`, one file each, and what they share.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>

#include "analyzer/book/book_file.hpp"
#include "analyzer/cli/command.hpp"

namespace coldtune::cli {

Command add_book_list(CLI::App& book);
Command add_book_show(CLI::App& book);
Command add_book_add(CLI::App& book);
Command add_book_note(CLI::App& book);
Command add_book_check(CLI::App& book);
Command add_book_restore(CLI::App& book);
Command add_book_copy(CLI::App& book);
Command add_book_export(CLI::App& book);

// The first argument of all of them.
void add_book_argument(CLI::App& app, std::string& path);

struct LookedAt {
    book::Places places;
    book::OpenedBook opened;
};

// Opens a book for looking, and says so if an earlier save had to take its place, as well as what is not as it was
// kept. What of that could be brought back is again as it was kept, in memory; the rest is marked `altered`.
Result<LookedAt> look_into(const Console& console, std::string_view command, const std::string& path);

// The run a person means, held against the file of its result where it has no seal.
Result<const book::Run*> look_at_run(const Console& console, std::string_view command, LookedAt& looked,
                                     std::string_view run);

// Says what whoever opened a book for writing must know: that it was recovered, that entries are not as they were kept,
// that kept files are missing.
void say_opened(const Console& console, std::string_view command, const book::BookFile& file);

// "1 run", "2 runs"
std::string counted(std::size_t number, std::string_view what);

// The beginning of every JSON object about a book: schema, program version, book, save number, recovery,
// what is not as it was kept.
nlohmann::ordered_json book_head(std::string_view schema, const book::Places& places, const book::OpenedBook& opened);

// "2026-11-27 10:30:00" of a time in a file.
std::string shown_time(std::string_view time_utc);

}  // namespace coldtune::cli
