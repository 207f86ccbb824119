#pragma once

#include <numbers>

namespace coldtune {

inline constexpr double kTwoPi = 2 * std::numbers::pi;  // radians per cycle

}  // namespace coldtune
