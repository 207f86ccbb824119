// The way from a bare coil to a verified tune: what is done and what is left. Data alone, for terminal and window.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace coldtune::tuning {

// What is known to have been done.
struct Progress {
    bool described = false;     // coil, primary and tank
    bool has_topload = false;   // the description names one
    bool bare = false;          // secondary measured without it
    bool secondary = false;     // secondary measured as it will stand
    std::size_t taps = 0;       // measured taps of the primary
    bool tuned = false;         // the tank as it stands meets the target
    bool contradicted = false;  // the measurements do not belong together
};

struct Step {
    enum class State { done, left, worthwhile, again };  // worthwhile: not needed; again: was done, must be repeated
    std::string_view key;  // "describe", "bare", "secondary", "tank", "second-tap", "set-tap", "verify", "before-power"
    State state = State::left;
    std::string text;
};

std::string_view state_name(Step::State state);

// In the order of doing; the last one, before power, is never done: nothing here can see it.
std::vector<Step> steps_of(const Progress& progress);

}  // namespace coldtune::tuning
