// The window's door for tests: a list of actions carried out one after another, with pictures and the state written
// between them. Not a feature for users; its form may change.
//
// One JSON array of objects, carried out in order:
//   {"do": NAME, "key": K, "text": T, "number": N}   an action by the name in action.cpp; all but "do" may be left out
//   {"wait": "idle", "seconds": S}                    until nothing calculates or sweeps any more (default 60 s)
//   {"wait": "busy", "seconds": S}                    until a task runs
//   {"wait": "readings", "number": N}                 until that many have come while following
//   {"size": [W, H]}                                  of the window, pixels
//   {"picture": "FILE.png"}                           what is on the screen
//   {"state": "FILE.json"}                            see state_json
#pragma once

#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "gui/frame.hpp"

namespace coldtune::gui {

struct ScriptStep {
    enum class Kind { action, wait_idle, wait_busy, wait_readings, size, picture, state } kind = Kind::action;
    Action action;
    double seconds = 60;
    std::size_t readings = 0;
    int width = 0, height = 0;
    std::filesystem::path file;
};

// Errors (usage) name the step, counted from 1.
Result<std::vector<ScriptStep>> read_script(const std::filesystem::path& path);

// What the window knows and shows, for a test to look into: step, calculated and measured values, verdicts, findings,
// runs, standards, task, and the places (left, top, right, bottom) of named things.
std::string state_json(const State& state, const std::map<std::string, Rect>& places, int width, int height);

}  // namespace coldtune::gui
