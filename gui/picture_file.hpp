// Pixels into a PNG file. The only file that uses libpng.
#pragma once

#include <cstdint>
#include <filesystem>
#include <vector>

#include "dsp/result.hpp"

namespace coldtune::gui {

struct Pixels {
    int width = 0, height = 0;
    std::vector<std::uint8_t> rgb;  // rows from the top, 3 bytes a pixel
};

Status write_png(const Pixels& pixels, const std::filesystem::path& path);

}  // namespace coldtune::gui
