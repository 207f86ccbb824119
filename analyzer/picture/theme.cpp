#include "analyzer/picture/theme.hpp"

namespace coldtune::picture {
namespace {

constexpr Color rgb(unsigned value) {
    return {static_cast<std::uint8_t>(value >> 16U), static_cast<std::uint8_t>((value >> 8U) & 0xFFU),
            static_cast<std::uint8_t>(value & 0xFFU), 255};
}

const Theme kLight = {
    .dark = false,
    .ground = rgb(0xF3F1EC),
    .panel = rgb(0xFFFFFF),
    .raised = rgb(0xE5E1D8),
    .pressed = rgb(0xD6D0C3),
    .ink = rgb(0x1E2A33),
    .soft_ink = rgb(0x5B6670),
    .rule = rgb(0xDCD8CF),
    .accent = rgb(0x0B6E6E),
    .on_accent = rgb(0xFFFFFF),
    .good = rgb(0x1B7A3D),
    .caution = rgb(0x9A5B00),
    .rejected = rgb(0xB3261E),
    .copper = rgb(0xB8733A),
    .metal = rgb(0x8A949C),
    .calculated = rgb(0xB86200),
    .run = {rgb(0x1A46C8), rgb(0x1FA57C), rgb(0xA0127F), rgb(0x603C18), rgb(0x8C90B4)},
};

const Theme kDark = {
    .dark = true,
    .ground = rgb(0x1A2026),
    .panel = rgb(0x12161B),
    .raised = rgb(0x2B343C),
    .pressed = rgb(0x3A4650),
    .ink = rgb(0xEEF1F3),
    .soft_ink = rgb(0xA3AEB7),
    .rule = rgb(0x323C45),
    .accent = rgb(0x45C4BC),
    .on_accent = rgb(0x0B1416),
    .good = rgb(0x6BCB8B),
    .caution = rgb(0xF0B454),
    .rejected = rgb(0xFF8A80),
    .copper = rgb(0xCF8A52),
    .metal = rgb(0x9AA6AF),
    .calculated = rgb(0xDA9A2C),
    .run = {rgb(0x7FB2FF), rgb(0x3BE8AE), rgb(0xD0548C), rgb(0x846C30), rgb(0x7656E0)},
};

}  // namespace

const Theme& light_theme() {
    return kLight;
}
const Theme& dark_theme() {
    return kDark;
}

}  // namespace coldtune::picture
