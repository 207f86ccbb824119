// The book on disk: opened, recovered, saved so that nothing is lost.
//
// A save writes the whole book beside its file, forces it to the disk, keeps the file so far as an earlier save and
// puts the new one in its place in one step (rename): at every moment NAME.json is one whole book.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analyzer/book/alterations.hpp"
#include "analyzer/book/book.hpp"
#include "analyzer/book/book_lock.hpp"
#include "analyzer/book/places.hpp"

namespace coldtune::book {

// That the book's own file could not be used and an earlier save was opened in its place.
struct Recovery {
    std::string cause;             // what was wrong with the file
    std::filesystem::path opened;  // the save opened instead
    // What went with the file: "save 3 of 2026-11-27T10:30:00Z (runs to number 3), save 2 (save-2.json is damaged
    // too)", as far as its beginning and the names of the saves tell; "" when the save opened is the very one.
    std::string lost;
    // Kept files that the save knows nothing of: what was added after it.
    std::vector<std::string> files_after_it;
};

struct OpenedBook {
    Book book;
    std::optional<Recovery> recovery;
    // What of it is not as it was kept, once somebody looked (read_book does not).
    std::vector<Alteration> alterations = {};
};

// One line for the person: what was wrong, what was opened, what is missing from it, what becomes of the damaged file.
std::string recovery_sentence(const OpenedBook& opened, const Places& places);

// For looking only: takes no lock, writes nothing, works in a read-only folder and while somebody else saves. A damaged
// or missing file is replaced by its newest earlier save that is whole. Errors (bad_input): there is no book; it cannot
// be read; it is another kind of file, or of a later version (these are never recovered from).
Result<OpenedBook> read_book(const Places& places);

// Whether a path means a book and not another JSON file: its beginning says so, or it has a book's folders beside it
// (a damaged or missing book is still one).
bool is_book(const std::filesystem::path& path);

// What the file held when it was last read or written by us, to notice other programs. The content decides: a time
// stamp may be too coarse to show a change, or be touched without one.
struct Seen {
    bool there = false;
    std::uint64_t bytes = 0;
    std::string sha256;
};

// A book open for writing: holds its lock.
class BookFile {
public:
    // Errors as of read_book and BookLock::take. Of an absent book (no file and no earlier saves) the first makes an
    // error, the second a new book, which is on disk after its first save.
    static Result<BookFile> open(const std::filesystem::path& path);
    static Result<BookFile> open_or_create(const std::filesystem::path& path);

    [[nodiscard]] const Places& places() const { return places_; }
    [[nodiscard]] const std::optional<Recovery>& recovery() const { return opened_.recovery; }
    [[nodiscard]] const Book& book() const { return opened_.book; }
    [[nodiscard]] Book& book() { return opened_.book; }
    [[nodiscard]] std::string recovery_text() const { return recovery_sentence(opened_, places_); }
    // Entries that were changed after they were kept. They stay as they are in the file, marked `altered`.
    [[nodiscard]] const std::vector<Alteration>& alterations() const { return opened_.alterations; }

    // Writes the book with the next save number. Errors (bad_input): the file was changed, or removed, by another
    // program since it was read (nothing is overwritten); it cannot be written; it would not read back. After an error
    // the book in memory is as before and may be saved again, or elsewhere. A damaged file that was recovered from is
    // not replaced but set aside first, as NAME.damaged-1.json.
    Status save();

    // A copy of the book with all its kept files under another name, which must not exist yet; then this object has
    // that one open. For when `save` refuses. The value names, a sentence each, the files that are not as they were
    // kept: a changed one is copied as it is, one that is missing or cannot be read is missing in the copy too. An
    // error leaves no copy.
    Result<std::vector<std::string>> save_as(const std::filesystem::path& path);

private:
    BookFile(Places places, BookLock lock) : places_(std::move(places)), lock_(std::move(lock)) {}
    static Result<BookFile> open(const std::filesystem::path& path, bool create);
    Status check_unchanged() const;
    Status set_present_aside() const;

    Places places_;
    BookLock lock_;
    OpenedBook opened_;
    Seen seen_;
};

}  // namespace coldtune::book
