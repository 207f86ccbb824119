#include "analyzer/book/alterations.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <variant>

#include "analyzer/book/book_json.hpp"
#include "analyzer/book/difference.hpp"
#include "analyzer/book/earlier_saves.hpp"
#include "analyzer/book/kept_files.hpp"
#include "analyzer/book/outline.hpp"
#include "analyzer/book/seal.hpp"
#include "analyzer/measure/kept_result.hpp"

namespace coldtune::book {
namespace {

using record::Json;

std::string where_of(const CoilVersion& coil) {
    return fmt::format("coil version {}", coil.number);
}
std::string where_of(const Interface& interface) {
    return fmt::format("interface {}", interface.number);
}
std::string where_of(const KeptCapture& capture) {
    return capture.kept.file;
}
std::string where_of(const Run& run) {
    return fmt::format("run {}", run.number);
}

int run_number(const Run& run) {
    return run.number;
}
template <typename Entry>
int run_number(const Entry&) {
    return 0;
}

constexpr const char* lost_sentence =
    "was changed in the book after it was kept, and no earlier save tells how it was; nothing of it is shown, change "
    "it back or go back to a save with coldtune book restore";

std::string restored_sentence(const std::optional<Difference>& d) {
    if (!d) return "was changed in the book; shown is what was kept";
    return fmt::format("{} was changed in the book: {} as kept, {} in it; shown is what was kept, change it back",
                       d->path, d->then, d->now);
}

template <typename Entry>
void mark(std::vector<Entry>& entries, std::vector<Alteration>& found) {
    for (Entry& entry : entries) {
        entry.altered = !entry.seal.empty() && seal_of(entry) != entry.seal;
        if (entry.altered) found.push_back({where_of(entry), run_number(entry), false, lost_sentence});
    }
}

void note_restored(std::vector<Alteration>& found, const std::string& where, const Json& then, const Json& now) {
    for (Alteration& a : found) {
        if (a.restored || a.where != where) continue;
        a.restored = true;
        a.sentence = restored_sentence(first_difference(then, now, false));
        return;
    }
}

struct FiledResult {
    KeptJson result;
    std::optional<ResponseOutline> response;
};

// What the file beside the captures says; nullopt where that is not as it was kept.
std::optional<FiledResult> filed_result(const Run& run, const Places& places) {
    const auto text = read_kept_text(places, run.result_file);
    if (!text) return std::nullopt;
    auto json = record::parse_json(*text, run.result_file.file, {longest_result_bytes, 32});
    if (!json || !json->is_object()) return std::nullopt;
    FiledResult filed;
    if (const auto whole = measure::result_from_json(*json, run.result_file.file)) filed.response = outline_of(*whole);
    json->erase("curve");
    filed.result = std::make_shared<const Json>(std::move(*json));
    return filed;
}

void restore_from_files(Book& book, const Places& places, std::vector<Alteration>& found) {
    for (Run& run : book.runs) {
        if (!run.altered) continue;
        const auto filed = filed_result(run, places);
        if (!filed) continue;
        Run as_kept = run;
        as_kept.result = filed->result;
        if (seal_of(as_kept) != run.seal) as_kept.response = filed->response;
        if (seal_of(as_kept) != run.seal) continue;
        const bool only_outline = !first_difference(*as_kept.result, *run.result, false);
        note_restored(found, where_of(run), only_outline ? run_json(as_kept) : *as_kept.result,
                      only_outline ? run_json(run) : *run.result);
        run = std::move(as_kept);
        run.altered = false;
    }
}

// The name and the notes of a run stay as they are now: they may be changed.
void keep_words(Run& as_kept, const Run& now) {
    as_kept.name = now.name;
    as_kept.notes = now.notes;
}
template <typename Entry>
void keep_words(Entry&, const Entry&) {}

template <typename Entry, typename Write>
void restore_from(const std::vector<Entry>& earlier, std::vector<Entry>& entries, Write write,
                  std::vector<Alteration>& found) {
    for (Entry& entry : entries) {
        if (!entry.altered) continue;
        const auto same = std::find_if(earlier.begin(), earlier.end(),
                                       [&](const Entry& e) { return e.seal == entry.seal && seal_of(e) == e.seal; });
        if (same == earlier.end()) continue;
        Entry as_kept = *same;
        keep_words(as_kept, entry);
        note_restored(found, where_of(entry), write(as_kept), write(entry));
        entry = std::move(as_kept);
        entry.altered = false;
    }
}

bool all_restored(const std::vector<Alteration>& found) {
    return std::all_of(found.begin(), found.end(), [](const Alteration& a) { return a.restored; });
}

}  // namespace

std::vector<Alteration> mark_alterations(Book& book) {
    std::vector<Alteration> found;
    mark(book.runs, found);
    mark(book.coils, found);
    mark(book.interfaces, found);
    mark(book.captures, found);
    return found;
}

std::vector<Alteration> settle_alterations(Book& book, const Places& places) {
    std::vector<Alteration> found = mark_alterations(book);
    if (found.empty()) return found;
    restore_from_files(book, places, found);
    for (const EarlierSave& save : earlier_saves(places)) {
        if (all_restored(found)) break;
        const auto text = record::read_text(save.path, longest_book_bytes);
        if (!text) continue;
        const auto parsed = parse_book(*text, save.path.string());
        const auto* earlier = std::get_if<Book>(&parsed);
        if (earlier == nullptr) continue;
        restore_from(earlier->runs, book.runs, run_json, found);
        restore_from(earlier->coils, book.coils, coil_json, found);
        restore_from(earlier->interfaces, book.interfaces, interface_json, found);
        restore_from(earlier->captures, book.captures, capture_json, found);
    }
    return found;
}

std::vector<Alteration> settle_unsealed(Run& run, const Places& places) {
    if (!run.seal.empty()) return {};
    auto filed = filed_result(run, places);
    if (!filed) return {};
    const auto difference = first_difference(*filed->result, *run.result, false);
    if (!difference) return {};
    run.result = std::move(filed->result);
    run.response = std::move(filed->response);
    return {{where_of(run), run.number, true, restored_sentence(difference)}};
}

std::size_t unsealed_runs(const Book& book) {
    return static_cast<std::size_t>(
        std::count_if(book.runs.begin(), book.runs.end(), [](const Run& run) { return run.seal.empty(); }));
}

std::string alterations_line(const std::vector<Alteration>& found, const Places& places) {
    if (found.empty()) return {};
    std::string names;
    for (std::size_t i = 0; i < std::min<std::size_t>(found.size(), 4); ++i)
        names += (i > 0 ? ", " : "") + found[i].where;
    if (found.size() > 4) names += fmt::format(" and {} more", found.size() - 4);
    return fmt::format("{}: not as kept: {}; coldtune book check says what was changed", places.name(), names);
}

}  // namespace coldtune::book
