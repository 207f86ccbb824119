// The book as JSON text, schema "coldtune.book.v1".
#pragma once

#include <string>
#include <string_view>
#include <variant>

#include "analyzer/book/book.hpp"

namespace coldtune::book {

inline constexpr std::string_view book_schema = "coldtune.book.v1";

// One line for each coil version, interface, capture and run, so that two saves compare line by line.
std::string book_text(const Book& book);

record::Json run_json(const Run& run);
record::Json capture_json(const KeptCapture& capture);
record::Json coil_json(const CoilVersion& coil);
record::Json interface_json(const Interface& interface);

// Why a text gives no book.
struct NoBook {
    enum class Why {
        damaged,  // ours once, but not whole: an earlier save may serve in its place
        foreign,  // another file, or a book of a later version: leave it alone
    };
    Why why = Why::damaged;
    std::string sentence;  // with origin and place: "bench.json: runs[3].settings.reference_ohm: ..."
};

// Strict: every key known, every number in the range the program itself would take, every reference to a coil, an
// interface or a capture answered, every file name plain (places.hpp).
std::variant<Book, NoBook> parse_book(std::string_view text, std::string_view origin);

}  // namespace coldtune::book
