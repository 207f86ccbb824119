#include "analyzer/book/book_file.hpp"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <fstream>
#include <string_view>
#include <system_error>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/earlier_saves.hpp"
#include "analyzer/book/kept_files.hpp"
#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/plain_text.hpp"
#include "analyzer/record/sha256.hpp"
#include "analyzer/record/utc_time.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;

Result<Seen> look_at(const fs::path& path) {
    Seen seen;
    struct stat status {};
    if (::stat(path.c_str(), &status) != 0) {
        if (errno == ENOENT || errno == ENOTDIR) return seen;
        return bad_input(fmt::format("{}: cannot be looked at: {}; check the disk",
                                     record::one_line(path.string(), 200), std::generic_category().message(errno)));
    }
    if (!S_ISREG(status.st_mode))
        return bad_input(record::one_line(path.string(), 200) + ": is no ordinary file; name the book itself");
    seen.there = true;
    seen.bytes = static_cast<std::uint64_t>(status.st_size);
    return seen;
}

// The book's file is read once; what was seen and what was understood are then of the same bytes.
struct Read {
    Seen seen;
    std::variant<Book, NoBook> outcome;
    std::string head;  // the beginning of a text that gave no book
};

Result<Read> read_file(const fs::path& path) {
    Read read;
    auto seen = look_at(path);
    if (!seen) return seen.error();
    read.seen = *seen;
    const std::string name = record::one_line(path.string(), 200);
    if (!seen->there) {
        read.outcome = NoBook{NoBook::Why::damaged, name + ": there is no such file"};
        return read;
    }
    const auto text = record::read_text(path, longest_book_bytes);
    if (!text) return text.error();
    read.seen.sha256 = record::sha256(*text);
    read.seen.bytes = text->size();
    read.outcome = parse_book(*text, path.string());
    if (std::holds_alternative<NoBook>(read.outcome)) read.head = text->substr(0, 2000);
    return read;
}

// What stands after "KEY": in the beginning of a damaged book; "" where nothing does.
std::string value_in(std::string_view head, std::string_view key) {
    auto at = head.find(fmt::format("\"{}\":", key));
    if (at == std::string_view::npos) return {};
    at = head.find_first_not_of(" \t\r\n", at + key.size() + 3);
    if (at == std::string_view::npos) return {};
    if (head[at] == '"') ++at;
    const auto end = head.find_first_of("\",\r\n }", at);
    // Without its end it may be cut short itself.
    return end == std::string_view::npos ? std::string() : record::one_line(head.substr(at, end - at), 30);
}

// What is lost when a save is opened in the place of a damaged book. The newest save aside is the one before the book.
std::string lost_with(std::string_view head, const std::vector<EarlierSave>& saves, std::size_t opened) {
    const std::string number = value_in(head, "save_number"), time = value_in(head, "saved_utc"),
                      last_run = value_in(head, "last_run_number");
    if (opened == 0 && number == std::to_string(saves[0].number))
        return {};  // it was set aside already, not yet replaced
    std::string lost =
        number.empty() ? fmt::format("what was saved after save {}", saves[0].number) : fmt::format("save {}", number);
    if (!number.empty() && record::is_utc_time(time)) lost += " of " + time;
    if (!number.empty() && !last_run.empty()) lost += fmt::format(" (runs to number {})", last_run);
    for (std::size_t i = 0; i < opened; ++i) {
        lost += fmt::format(", save {} ({} is damaged too)", saves[i].number, saves[i].path.filename().string());
    }
    return lost;
}

Error no_such_book(const Places& places) {
    return bad_input(places.name() + ": there is no such book; make it with coldtune book add");
}

struct ReadBook {
    OpenedBook opened;
    Seen seen;
};

Result<ReadBook> read_or_recover(const Places& places) {
    auto read = read_file(places.book);
    if (!read) return read.error();
    ReadBook result;
    result.seen = read->seen;
    if (auto* book = std::get_if<Book>(&read->outcome)) {
        result.opened.book = std::move(*book);
        return result;
    }
    const NoBook& why = std::get<NoBook>(read->outcome);
    if (why.why == NoBook::Why::foreign) return bad_input(why.sentence);
    const std::vector<EarlierSave> saves = earlier_saves(places);
    for (std::size_t i = 0; i < saves.size(); ++i) {
        auto earlier = read_file(saves[i].path);
        if (!earlier) continue;
        auto* book = std::get_if<Book>(&earlier->outcome);
        if (book == nullptr) continue;
        result.opened.recovery =
            Recovery{why.sentence, saves[i].path, lost_with(read->head, saves, i), unknown_files(*book, places)};
        result.opened.book = std::move(*book);
        return result;
    }
    if (!read->seen.there) return no_such_book(places);
    return bad_input(why.sentence + "; no earlier save is there to take its place, put a copy of the book there");
}

// Every file is looked at before it is copied and after. The value says which are not as they were kept.
Result<std::vector<std::string>> copy_kept_files(const Book& book, const Places& from, const Places& to) {
    if (Status folder = require_folder(to.captures, true); !folder) return folder.error();
    std::vector<const KeptFile*> files;
    for (const KeptCapture& c : book.captures) files.push_back(&c.kept);
    for (const Run& r : book.runs) files.push_back(&r.result_file);
    std::vector<std::string> faults;
    if (const Status folder = require_folder(from.captures, false); !folder && !files.empty()) {
        faults.push_back(
            fmt::format("{}; the copy holds none of the {} kept files", folder.error().message, files.size()));
        return faults;
    }
    for (const KeptFile* kept : files) {
        const fs::path source = from.captures / kept->file;
        const Status sound = check_kept(from, *kept);
        if (!sound) {
            faults.push_back(sound.error().message);
            // A changed one is taken along as it is; from a bad disk the others are, too.
            if (!record::sha256_of_file(source)) continue;
        }
        if (Status copied = record::copy_file_atomically(source, to.captures / kept->file); !copied)
            return copied.error();
        if (!sound) continue;
        if (const Status back = check_kept(to, *kept); !back) return back.error();
    }
    return faults;
}

std::string counted(const std::vector<std::string>& names) {
    std::string text;
    for (std::size_t i = 0; i < std::min<std::size_t>(names.size(), 4); ++i) text += (i > 0 ? ", " : "") + names[i];
    if (names.size() > 4) text += fmt::format(" and {} more", names.size() - 4);
    return text;
}

}  // namespace

std::string recovery_sentence(const OpenedBook& opened, const Places& places) {
    const Book& b = opened.book;
    std::string text = fmt::format(
        "{}; opened save {} of {} in its place ({}, runs to number {})", opened.recovery->cause, b.save_number,
        b.saved_utc, opened.recovery->opened.filename().string(), b.runs.empty() ? 0 : b.runs.back().number);
    const std::string& lost = opened.recovery->lost;
    text += lost.empty() ? "; that is the same save, nothing was lost" : "; lost: " + lost;
    const auto& after = opened.recovery->files_after_it;
    text += after.empty() ? "; no kept capture is missing from it"
                          : fmt::format("; not in it, but still in {}: {}; add them again",
                                        places.captures.filename().string(), counted(after));
    return text;
}

bool is_book(const std::filesystem::path& path) {
    std::array<char, 4096> head{};
    std::ifstream file(path, std::ios::binary);
    file.read(head.data(), head.size());
    const std::string_view seen(head.data(), static_cast<std::size_t>(file.gcount()));
    if (seen.find("\"coldtune.book.v") != std::string_view::npos) return true;
    const auto places = places_of(path);
    std::error_code ignored;
    return places && (fs::is_directory(places->saves, ignored) || fs::is_directory(places->captures, ignored));
}

Result<OpenedBook> read_book(const Places& places) {
    auto read = read_or_recover(places);
    if (!read) return read.error();
    return std::move(read->opened);
}

Result<BookFile> BookFile::open(const fs::path& path) {
    return open(path, false);
}

Result<BookFile> BookFile::open_or_create(const fs::path& path) {
    return open(path, true);
}

Result<BookFile> BookFile::open(const fs::path& path, bool create) {
    auto places = places_of(path);
    if (!places) return places.error();
    // Without this a book that is not there would leave the file of its lock for a moment.
    std::error_code ignored;
    const bool anything = fs::exists(places->book, ignored) || !earlier_saves(*places).empty();
    if (!anything && !create) return no_such_book(*places);
    auto lock = BookLock::take(*places);
    if (!lock) return lock.error();
    BookFile file(std::move(*places), std::move(*lock));
    // Nobody else writes here now: what lies about was left by somebody killed.
    record::remove_abandoned_temporaries(
        file.places_.book.parent_path().empty() ? fs::path(".") : file.places_.book.parent_path(),
        file.places_.book.filename().string());
    for (const fs::path& folder : {file.places_.captures, file.places_.saves}) {
        if (require_folder(folder, false)) record::remove_abandoned_temporaries(folder);
    }
    if (!anything) {
        file.opened_.book.created_utc = record::utc_now();
        return file;
    }
    auto read = read_or_recover(file.places_);
    if (!read) return read.error();
    file.opened_ = std::move(read->opened);
    file.opened_.alterations = mark_alterations(file.opened_.book);
    file.seen_ = read->seen;
    return file;
}

Status BookFile::check_unchanged() const {
    auto now = look_at(places_.book);
    if (!now) return now.error();
    if (now->there && !seen_.there) {
        return bad_input(places_.name() +
                         ": another program has made it meanwhile; nothing was overwritten, save under another name");
    }
    if (!seen_.there) return Done{};
    std::error_code ignored;
    const fs::path parent = places_.book.parent_path();
    if (!now->there && !parent.empty() && !fs::is_directory(parent, ignored)) {
        return bad_input(
            places_.name() +
            ": its folder is no longer there; bring it back (a disk taken out?) or save under another name");
    }
    if (!now->there) {
        return bad_input(places_.name() + ": another program has removed it; put it back or save under another name");
    }
    bool same = now->bytes == seen_.bytes;
    if (same) {
        const auto sum = record::sha256_of_file(places_.book);
        if (!sum) return sum.error();
        same = sum->sha256 == seen_.sha256;
    }
    if (same) return Done{};
    return bad_input(places_.name() +
                     ": another program has changed it meanwhile; nothing was overwritten, open it again or save under "
                     "another name");
}

Status BookFile::set_present_aside() const {
    if (!seen_.there) return Done{};
    if (!opened_.recovery) return keep_present_save(places_, opened_.book.save_number, seen_.sha256);
    for (int i = 1; i < 1000; ++i) {
        const fs::path aside = fs::path(places_.book).replace_extension(fmt::format("damaged-{}.json", i));
        std::error_code ignored;
        if (!fs::exists(fs::symlink_status(aside, ignored))) return record::keep_under_second_name(places_.book, aside);
    }
    return bad_input(places_.name() + ": a thousand damaged files of this name are kept already; move them away");
}

Status BookFile::save() {
    if (Status unchanged = check_unchanged(); !unchanged) return unchanged;
    Book next = opened_.book;
    next.save_number += 1;
    next.saved_utc = record::utc_now();
    next.program_version = COLDTUNE_VERSION;
    const std::string text = book_text(next);
    if (text.size() > longest_book_bytes) {
        return bad_input(fmt::format("{}: the book is full ({} bytes, at most {}); begin a new one", places_.name(),
                                     text.size(), longest_book_bytes));
    }
    // A book that could not be opened again must never take the place of one that can.
    const auto back = parse_book(text, "the book to be saved");
    if (const auto* fault = std::get_if<NoBook>(&back))
        return bad_input(fault->sentence + "; the file was left as it was");
    auto file = record::AtomicFile::create(places_.book);
    if (!file) return file.error();
    if (Status written = file->write(text); !written) return written;
    if (Status kept = set_present_aside(); !kept) return kept;
    const Status committed = file->commit();
    const std::string sum = record::sha256(text);
    if (!committed) {
        // It may be in place all the same, only not known to be on the disk: then it is ours and no change by others.
        const auto now = record::sha256_of_file(places_.book);
        if (!now || now->sha256 != sum) return committed;
    }
    seen_ = {true, text.size(), sum};
    opened_.book.save_number = next.save_number;
    opened_.book.saved_utc = next.saved_utc;
    opened_.book.program_version = next.program_version;
    opened_.recovery.reset();
    remove_old_saves(places_);
    return committed;
}

Result<std::vector<std::string>> BookFile::save_as(const fs::path& path) {
    auto places = places_of(path);
    if (!places) return places.error();
    std::error_code ignored;
    for (const fs::path& target : {places->book, places->captures, places->saves}) {
        if (fs::exists(fs::symlink_status(target, ignored))) {
            return bad_input(record::one_line(target.string(), 200) + ": is there already; name another book");
        }
    }
    auto lock = BookLock::take(*places);
    if (!lock) return lock.error();
    BookFile copy(std::move(*places), std::move(*lock));
    copy.opened_.book = opened_.book;
    auto faults = copy_kept_files(opened_.book, places_, copy.places_);
    const Status saved = faults ? copy.save() : Status(faults.error());
    if (!saved) {
        fs::remove_all(copy.places_.captures, ignored);  // made just now
        return saved.error();
    }
    copy.opened_.alterations = opened_.alterations;
    *this = std::move(copy);
    return faults;
}

}  // namespace coldtune::book
