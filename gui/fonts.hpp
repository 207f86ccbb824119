// The typefaces of the window: packaged ones that have the ohm, micro and plus-minus signs.
#pragma once

#include <imgui.h>

#include <filesystem>
#include <string>
#include <vector>

#include "dsp/result.hpp"

namespace coldtune::gui {

struct Fonts {
    ImFont* body = nullptr;
    ImFont* strong = nullptr;
    ImFont* small = nullptr;
    ImFont* title = nullptr;
    ImFont* half = nullptr;     // half the readout
    ImFont* readout = nullptr;  // digits to be read from a metre away
};

struct FontFiles {
    std::filesystem::path regular, strong;
};

// The first pair of files that is installed: Open Sans (package fonts-open-sans), else DejaVu Sans
// (fonts-dejavu-core). Error: neither, with the package to install.
Result<FontFiles> find_fonts();
// The same among given folders, for tests.
Result<FontFiles> find_fonts(const std::vector<std::filesystem::path>& folders);

// Fills the atlas of the current Dear ImGui context for this scale (1 = lines of 21 pixels) and builds it. Error: a
// file that cannot be read, or a font without one of the signs the window writes.
Result<Fonts> load_fonts(const FontFiles& files, float scale);

}  // namespace coldtune::gui
