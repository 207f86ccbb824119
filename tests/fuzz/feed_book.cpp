#include "analyzer/book/book_json.hpp"
#include "analyzer/book/places.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

void feed_book(std::string_view bytes) {
    const auto outcome = book::parse_book(bytes, "book.json");
    if (const auto* fault = std::get_if<book::NoBook>(&outcome)) {
        require_refusal(fault->sentence);
        return;
    }
    const auto& first = std::get<book::Book>(outcome);
    for (const auto& capture : first.captures) {
        require(book::is_plain_file_name(capture.kept.file), "a book names files of its own folder only");
    }
    const std::string text = book::book_text(first);
    const auto again = book::parse_book(text, "book.json");
    require(std::holds_alternative<book::Book>(again), "a written book can be read");
    require(book::book_text(std::get<book::Book>(again)) == text, "a book comes back unchanged");
}

}  // namespace coldtune::fuzz
