// Where two results say different things.
#pragma once

#include <optional>
#include <string>

#include "analyzer/record/json_text.hpp"

namespace coldtune::book {

struct Difference {
    std::string path;       // "resonance.frequency_hz"; "" = the values themselves
    std::string then, now;  // the values there, each on one line; "nothing" where there is none
};

// The first place where `now` parts from `then`, in the order of `then`. Numbers count by value; with `order` objects
// whose keys only stand in another order differ too, otherwise not, and a null is as good as nothing.
std::optional<Difference> first_difference(const record::Json& then, const record::Json& now, bool order);

}  // namespace coldtune::book
