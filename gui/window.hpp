// The real window: GLFW, OpenGL 3.2 core, Dear ImGui's backends for them.
#pragma once

#include <filesystem>
#include <optional>

#include "dsp/result.hpp"
#include "gui/settings_file.hpp"

namespace coldtune::gui {

struct WindowOptions {
    Remembered remembered;
    std::filesystem::path settings;  // written on closing; empty = forget
    std::optional<std::filesystem::path> script;
    double simulated_pace = 1;
};

// Opens the window and stays until it is closed. Errors (device): no display, no OpenGL 3.2, no typeface.
Status run_window(const WindowOptions& options);

}  // namespace coldtune::gui
