// How much longer a test waits before it calls something stuck: a sanitizer makes everything slower, and what is
// measured is not speed.
#pragma once

namespace coldtune::testing {

#if defined(__SANITIZE_THREAD__) || defined(__SANITIZE_ADDRESS__)
inline constexpr int kPatience = 10;
#else
inline constexpr int kPatience = 1;
#endif

}  // namespace coldtune::testing
