#include "gui/settings_file.hpp"
#include "tests/fuzz/memory_file.hpp"
#include "tests/fuzz/readers.hpp"

namespace coldtune::fuzz {

// The window must open whatever the file holds, with values that a window can have.
void feed_settings(std::string_view bytes) {
    const MemoryFile file(bytes);
    const gui::Remembered remembered = gui::load_settings(file.path());
    require(remembered.width >= 640 && remembered.width <= 16384, "the window has a width");
    require(remembered.height >= 480 && remembered.height <= 16384, "the window has a height");
    require(remembered.text_scale >= 1 && remembered.text_scale <= 2.5, "the text can be read");
    require(remembered.bench.sample_rate_hz >= 8e3 && remembered.bench.sample_rate_hz <= 384e3, "the rate is in range");
    for (const int channel :
         {remembered.bench.output_channel, remembered.bench.generator_input, remembered.bench.coil_input})
        require(channel >= 0 && channel < 64, "a channel is one of 64");
}

}  // namespace coldtune::fuzz
