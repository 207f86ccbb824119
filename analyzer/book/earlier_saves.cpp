#include "analyzer/book/earlier_saves.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <optional>
#include <system_error>

#include "analyzer/record/atomic_file.hpp"
#include "analyzer/record/sha256.hpp"

namespace coldtune::book {
namespace {

namespace fs = std::filesystem;

// save-12.json, or save-12-0a1b2c3d.json
std::optional<std::uint64_t> number_in(const std::string& name) {
    constexpr std::string_view head = "save-", tail = ".json";
    if (!name.starts_with(head) || !name.ends_with(tail) || name.size() < head.size() + tail.size())
        return std::nullopt;
    const char* const end = name.data() + name.size() - tail.size();
    std::uint64_t number = 0;
    const auto [at, fault] = std::from_chars(name.data() + head.size(), end, number);
    if (fault != std::errc() || number == 0) return std::nullopt;
    const std::string_view rest(at, static_cast<std::size_t>(end - at));
    const bool plain = rest.empty();
    const bool with_sum = rest.size() == 9 && rest.front() == '-' &&
                          rest.find_first_not_of("0123456789abcdef", 1) == std::string_view::npos;
    return plain || with_sum ? std::optional(number) : std::nullopt;
}

}  // namespace

std::vector<EarlierSave> earlier_saves(const Places& places) {
    std::vector<EarlierSave> found;
    if (!require_folder(places.saves, false)) return found;
    std::error_code fault;
    for (fs::directory_iterator entry(places.saves, fault), end; !fault && entry != end; entry.increment(fault)) {
        const auto number = number_in(entry->path().filename().string());
        std::error_code ignored;
        if (number && fs::is_regular_file(entry->symlink_status(ignored))) found.push_back({*number, entry->path()});
    }
    std::sort(found.begin(), found.end(), [](const EarlierSave& a, const EarlierSave& b) {
        return a.number != b.number ? a.number > b.number : a.path > b.path;
    });
    return found;
}

Status keep_present_save(const Places& places, std::uint64_t number, const std::string& sha256) {
    if (Status folder = require_folder(places.saves, true); !folder) return folder;
    fs::path target = places.saves / fmt::format("save-{}.json", number);
    std::error_code ignored;
    for (int attempt = 0; fs::exists(fs::symlink_status(target, ignored)); ++attempt) {
        if (const auto there = record::sha256_of_file(target); there && there->sha256 == sha256) return Done{};
        if (attempt > 0) return bad_input(target.string() + ": stands in the way of a save of that name; move it away");
        target = places.saves / fmt::format("save-{}-{}.json", number, sha256.substr(0, 8));
    }
    return record::keep_under_second_name(places.book, target);
}

void remove_old_saves(const Places& places) {
    const auto saves = earlier_saves(places);
    std::error_code ignored;
    for (std::size_t i = kept_saves; i < saves.size(); ++i) fs::remove(saves[i].path, ignored);
}

}  // namespace coldtune::book
