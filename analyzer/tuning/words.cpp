#include "analyzer/tuning/words.hpp"

#include <fmt/format.h>

#include <cmath>

#include "analyzer/record/quantity.hpp"

namespace coldtune::tuning {

using record::Unit;

namespace {

std::string length_text(double metres) {
    return record::format_quantity(std::abs(metres), Unit::metre, 3);
}

}  // namespace

std::string verdict_sentence(const TuneResult& result) {
    if (!result.tuning) return "rejected: the measurements do not belong together";
    const Tuning& t = *result.tuning;
    switch (result.outcome()) {
        case Outcome::tuned:
            return fmt::format("tuned within {:.2g} %", 100 * t.tuned_within);
        case Outcome::undecided:
            return fmt::format(
                "undecided: within {:.2g} % of the target, but known only to +- {:.2g} %; measure better "
                "before moving the tap",
                100 * t.tuned_within, 100 * t.mismatch.u95);
        case Outcome::move_tap:
            return fmt::format("move the tap {} by {:.2f} turns ({} along the conductor)",
                               t.advice->move_turns < 0 ? "in" : "out", std::abs(t.advice->move_turns),
                               length_text(t.advice->move_m));
        case Outcome::change_capacitor:
            return "no tap reaches the target: change the capacitor";
        case Outcome::rejected:
            break;
    }
    return "rejected";
}

std::string place_of_tap(const TapAdvice& advice) {
    return fmt::format("{} along the conductor {} turn mark {}",
                       record::format_with_uncertainty(std::abs(advice.past_mark_m), advice.along_u95_m, Unit::metre),
                       advice.past_mark_m < 0 ? "before" : "past", advice.mark);
}

}  // namespace coldtune::tuning
