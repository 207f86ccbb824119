#include "gui/picture_file.hpp"

#include <fmt/format.h>
#include <png.h>

namespace coldtune::gui {

Status write_png(const Pixels& pixels, const std::filesystem::path& path) {
    png_image image{};
    image.version = PNG_IMAGE_VERSION;
    image.width = static_cast<png_uint_32>(pixels.width);
    image.height = static_cast<png_uint_32>(pixels.height);
    image.format = PNG_FORMAT_RGB;
    const bool written =
        png_image_write_to_file(&image, path.c_str(), 0, pixels.rgb.data(), pixels.width * 3, nullptr) != 0;
    const std::string why = static_cast<const char*>(image.message);
    png_image_free(&image);
    if (!written) return bad_input(fmt::format("{}: the picture cannot be written ({})", path.string(), why));
    return Done{};
}

}  // namespace coldtune::gui
