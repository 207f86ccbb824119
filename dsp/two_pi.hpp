#pragma once

#include <numbers>

namespace coldtune::dsp {

inline constexpr double two_pi = 2 * std::numbers::pi;  // radians per cycle

}  // namespace coldtune::dsp
