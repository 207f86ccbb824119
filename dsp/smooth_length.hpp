// Lengths that transform fast: even, with no prime factor but 2, 3, 5 and 7. See also choose_period in
// dsp/stimulus.hpp.
#pragma once

#include <cstddef>

namespace coldtune::dsp {

// The largest such length not above `frames`; 2 when there is none.
std::size_t smooth_length_below(std::size_t frames);

}  // namespace coldtune::dsp
