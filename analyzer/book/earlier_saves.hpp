// The saves before the present one, in NAME.saves: what recovery and `book restore` draw on.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "analyzer/book/places.hpp"

namespace coldtune::book {

inline constexpr std::size_t kept_saves = 5;

struct EarlierSave {
    std::uint64_t number = 0;
    std::filesystem::path path;
};

// Newest first. Told by their names (save-12.json); other files in the folder are nobody's business.
std::vector<EarlierSave> earlier_saves(const Places& places);

// Keeps the present book file (its content has the checksum `sha256`) as save `number`. An earlier one of that number
// that says the same already stands for it; one that says something else stays, and the new one gets the beginning of
// its checksum into its name.
Status keep_present_save(const Places& places, std::uint64_t number, const std::string& sha256);

// Removes all but the newest `kept_saves`.
void remove_old_saves(const Places& places);

}  // namespace coldtune::book
