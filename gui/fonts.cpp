#include "gui/fonts.hpp"

#include <fmt/format.h>
#include <imgui_freetype.h>

#include <array>
#include <cmath>

namespace coldtune::gui {
namespace {

namespace fs = std::filesystem;

struct Face {
    const char* folder;
    const char* regular;
    const char* strong;
};
constexpr std::array<Face, 2> kFaces = {{
    {"open-sans", "OpenSans-Regular.ttf", "OpenSans-Semibold.ttf"},
    {"dejavu", "DejaVuSans.ttf", "DejaVuSans-Bold.ttf"},
}};

// Names and notes may be written in Latin, Greek or Cyrillic; the larger sizes only show text of ours.
constexpr ImWchar kWide[] = {0x20,   0x17F,  0x370,  0x3FF,  0x400,  0x486,  0x2010, 0x2027,
                             0x2126, 0x2126, 0x2206, 0x2206, 0x2212, 0x2212, 0x221E, 0x221E,
                             0x2248, 0x2248, 0x2264, 0x2265, 0xFFFD, 0xFFFD, 0};
constexpr ImWchar kOurs[] = {0x20,   0xFF,   0x3A9,  0x3A9,  0x3BC,  0x3BC,  0x2010, 0x2027, 0x2126,
                             0x2126, 0x2206, 0x2206, 0x2212, 0x2212, 0x2264, 0x2265, 0};
constexpr std::array<ImWchar, 6> kNeeded = {0xB0, 0xB1, 0xB5, 0x2126, 0x2013, 0x2212};

}  // namespace

Result<FontFiles> find_fonts() {
    std::vector<fs::path> folders = {"/usr/share/fonts/truetype", "/usr/local/share/fonts"};
    return find_fonts(folders);
}

Result<FontFiles> find_fonts(const std::vector<fs::path>& folders) {
    for (const Face& face : kFaces) {
        for (const fs::path& folder : folders) {
            const FontFiles files{folder / face.folder / face.regular, folder / face.folder / face.strong};
            std::error_code ignored;
            if (fs::is_regular_file(files.regular, ignored) && fs::is_regular_file(files.strong, ignored)) return files;
        }
    }
    return device_error(
        "no typeface with an ohm sign was found; install the package fonts-open-sans (or fonts-dejavu-core)");
}

Result<Fonts> load_fonts(const FontFiles& files, float scale) {
    ImFontAtlas& atlas = *ImGui::GetIO().Fonts;
    atlas.Clear();
    atlas.FontBuilderIO = ImGuiFreeType::GetBuilderForFreeType();
    atlas.Flags |= ImFontAtlasFlags_NoPowerOfTwoHeight;
    const auto load = [&](const fs::path& file, float pixels, const ImWchar* ranges) {
        ImFontConfig config;
        config.OversampleH = config.OversampleV = 1;
        config.PixelSnapH = true;
        return atlas.AddFontFromFileTTF(file.c_str(), std::round(pixels * scale), &config, ranges);
    };
    // Dear ImGui asserts on a missing file; it is looked for first.
    for (const fs::path& file : {files.regular, files.strong}) {
        std::error_code ignored;
        if (!fs::is_regular_file(file, ignored)) {
            return device_error(fmt::format("{}: the typeface is gone; install fonts-open-sans", file.string()));
        }
    }
    Fonts fonts;
    fonts.body = load(files.regular, 21, kWide);
    fonts.strong = load(files.strong, 21, kWide);
    fonts.small = load(files.regular, 18, kOurs);
    fonts.title = load(files.strong, 27, kOurs);
    fonts.half = load(files.strong, 34, kOurs);
    fonts.readout = load(files.strong, 68, kOurs);
    if (fonts.body == nullptr || fonts.strong == nullptr || fonts.small == nullptr || fonts.title == nullptr ||
        fonts.half == nullptr || fonts.readout == nullptr || !atlas.Build()) {
        return device_error(fmt::format("{}: the typeface cannot be read", files.regular.string()));
    }
    for (ImWchar sign : kNeeded) {
        if (fonts.body->FindGlyphNoFallback(sign) == nullptr) {
            return device_error(fmt::format("{}: the typeface lacks the sign U+{:04X}; install fonts-open-sans",
                                            files.regular.string(), static_cast<unsigned>(sign)));
        }
    }
    return fonts;
}

}  // namespace coldtune::gui
