#include "analyzer/book/places.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <system_error>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;

std::string shown(const fs::path& path) {
    return record::one_line(path.string(), 200);
}

}  // namespace

std::string Places::name() const {
    return shown(book);
}

Result<Places> places_of(const fs::path& book) {
    if (book.extension() != ".json" || book.stem().empty()) {
        return usage_error(fmt::format("{}: a book's name ends in .json", record::in_quotes(book.string(), 200)));
    }
    Places places;
    std::error_code fault;
    // Two names for one book must lead to one lock. Without a link the path stays as the person wrote it.
    places.book = book;
    if (std::error_code none; fs::is_symlink(fs::symlink_status(book, none))) places.book = fs::canonical(book, fault);
    if (fault || places.book.extension() != ".json") {
        return bad_input(shown(book) + ": is a link that leads to no book; name the book itself");
    }
    const auto beside = [&](const char* ending) { return fs::path(places.book).replace_extension(ending); };
    places.captures = beside(".captures");
    places.saves = beside(".saves");
    places.lock = beside(".lock");
    return places;
}

bool is_plain_file_name(std::string_view text) {
    const auto allowed = [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_' ||
               c == '.';
    };
    return !text.empty() && text.size() <= 120 && text.front() != '.' && std::all_of(text.begin(), text.end(), allowed);
}

Status require_folder(const fs::path& folder, bool make) {
    std::error_code fault;
    const fs::file_status status = fs::symlink_status(folder, fault);
    if (fs::is_directory(status)) return Done{};
    if (fs::is_symlink(status)) {
        return bad_input(shown(folder) +
                         ": is a link; a book's own folders must be real ones, put the folder itself there");
    }
    if (fs::exists(status)) return bad_input(shown(folder) + ": is not a folder; move it away");
    if (!make) return bad_input(shown(folder) + ": there is no such folder; put it back beside its book");
    fs::create_directory(folder, fault);
    if (fault) {
        return bad_input(fmt::format("{}: the folder cannot be made: {}; choose a place you may write to",
                                     shown(folder), fault.message()));
    }
    return Done{};
}

}  // namespace coldtune::book
