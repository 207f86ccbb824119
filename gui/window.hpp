// The real window: GLFW, OpenGL 3.2 core, Dear ImGui's backends for them.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "dsp/result.hpp"
#include "gui/settings_file.hpp"

namespace coldtune::gui {

struct WindowOptions {
    Remembered remembered;
    std::filesystem::path settings;      // written after each change; empty = forget
    std::filesystem::path state_folder;  // for what is no setting; empty = forget
    std::string notice;                  // to begin with
    std::optional<std::filesystem::path> script;
    double simulated_pace = 1;
};

// Opens the window and stays until it is closed. Errors (device): no display, no OpenGL 3.2, no typeface.
Status run_window(const WindowOptions& options);

}  // namespace coldtune::gui
