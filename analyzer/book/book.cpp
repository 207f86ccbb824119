#include "analyzer/book/book.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>

#include "analyzer/record/plain_text.hpp"

namespace coldtune::book {
namespace {

template <typename Items, typename Key, typename Member>
auto* find_by(const Items& items, const Key& key, Member member) {
    const auto found = std::find_if(items.begin(), items.end(), [&](const auto& item) { return member(item) == key; });
    return found == items.end() ? nullptr : &*found;
}

}  // namespace

const KeptCapture* Book::find_capture(std::string_view file) const {
    return find_by(captures, file, [](const KeptCapture& c) { return std::string_view(c.kept.file); });
}
const CoilVersion* Book::find_coil(int number) const {
    return find_by(coils, number, [](const CoilVersion& c) { return c.number; });
}
const Interface* Book::find_interface(int number) const {
    return find_by(interfaces, number, [](const Interface& i) { return i.number; });
}
const Run* Book::find_run(int number) const {
    return find_by(runs, number, [](const Run& r) { return r.number; });
}

Result<const Run*> choose_run(const Book& book, std::string_view text) {
    int number = 0;
    const auto [end, fault] = std::from_chars(text.data(), text.data() + text.size(), number);
    if (fault == std::errc() && end == text.data() + text.size()) {
        if (const Run* run = book.find_run(number)) return run;
    }
    const Run* named = nullptr;
    for (const Run& run : book.runs) {
        if (run.name != text) continue;
        if (named != nullptr) {
            return usage_error(fmt::format("runs {} and {} are both called {}; say the number", named->number,
                                           run.number, record::in_quotes(text)));
        }
        named = &run;
    }
    if (named != nullptr) return named;
    if (book.runs.empty()) return usage_error("the book has no runs yet; add one first");
    if (book.runs.size() == 1) {
        return usage_error(
            fmt::format("there is no run {}; the only one is {}", record::in_quotes(text), book.runs.front().number));
    }
    return usage_error(fmt::format("there is no run {}; numbers go from {} to {}", record::in_quotes(text),
                                   book.runs.front().number, book.runs.back().number));
}

}  // namespace coldtune::book
