#include "analyzer/measure/loading_choice.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "analyzer/record/preferred_values.hpp"
#include "analyzer/record/quantity.hpp"

namespace coldtune::measure {

// 1/f^2 is a straight line of C, so places
// evenly spread in 1/f^2 fix its slope best.
std::vector<LoadingChoice> loading_choices(const model::SecondaryModel& model, const dsp::Band& band) {
    std::vector<LoadingChoice> all;
    const auto capacitors = record::preferred_between(10e-12, 10e-9, record::Series::e12);
    if (!capacitors) return all;
    for (double c : *capacitors) {
        const double f = model.with_head_capacitance(c).modes_hz()[0];
        if (f < 0.9 * band.high_hz && f > std::max(10 * band.low_hz, 0.2 * band.high_hz)) all.push_back({c, f});
    }
    if (all.size() <= 3) return all;
    return {all.front(), all[all.size() / 2], all.back()};
}

std::string in_words(const std::vector<LoadingChoice>& choices) {
    std::string text;
    for (const LoadingChoice& c : choices) {
        text += fmt::format("{}{} ({})", text.empty() ? "" : ", ",
                            record::format_quantity(c.capacitance_f, record::Unit::farad, 2),
                            record::format_quantity(c.resonance_hz, record::Unit::hertz, 3));
    }
    return text;
}

}  // namespace coldtune::measure
