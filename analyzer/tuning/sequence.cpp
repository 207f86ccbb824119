#include "analyzer/tuning/sequence.hpp"

namespace coldtune::tuning {

std::string_view state_name(Step::State state) {
    switch (state) {
        case Step::State::done:
            return "done";
        case Step::State::left:
            return "left";
        case Step::State::worthwhile:
            return "worthwhile";
        case Step::State::again:
            return "again";
    }
    return "left";
}

std::vector<Step> steps_of(const Progress& p) {
    using State = Step::State;
    const auto measured = [&](bool done) { return !done ? State::left : p.contradicted ? State::again : State::done; };
    std::vector<Step> steps;
    steps.push_back({"describe", p.described ? State::done : State::left,
                     "describe secondary, top load, primary and tank in one file"});
    if (p.has_topload) {
        steps.push_back({"bare", p.bare ? State::done : State::worthwhile,
                         "measure the secondary without its top load: tells what the top load adds"});
    }
    steps.push_back({"secondary", measured(p.secondary),
                     p.has_topload ? "measure the secondary with its top load, where it will stand, primary open"
                                   : "measure the secondary where it will stand, primary open"});
    steps.push_back(
        {"tank", measured(p.taps > 0),
         "untie the foot of the secondary (or lift it out), bridge the gap and measure the tank at one tap"});
    steps.push_back({"second-tap", p.taps > 1 ? measured(true) : State::worthwhile,
                     "measure the tank at a second tap, a turn or two away: sets leads and turns apart"});
    steps.push_back({"set-tap", p.tuned ? State::done : State::left, "set the tap (or the capacitor) as advised"});
    steps.push_back({"verify", p.tuned ? State::done : State::left, "measure the tank as it then stands"});
    steps.push_back({"before-power", State::left, "remove the bridge and all leads, take the interface away"});
    return steps;
}

}  // namespace coldtune::tuning
