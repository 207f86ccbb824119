// libFuzzer's door; the build names the one reader behind it as COLDTUNE_FEED.
#include <cstddef>
#include <cstdint>

#include "tests/fuzz/readers.hpp"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    coldtune::fuzz::COLDTUNE_FEED({reinterpret_cast<const char*>(data), size});
    return 0;
}
