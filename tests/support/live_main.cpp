// main() of the live tests: a test program starts itself again as the audio child, like the real one.
#include <gtest/gtest.h>

#include <filesystem>
#include <system_error>

#include "analyzer/audio/audio_port.hpp"
#include "tests/support/jack_server.hpp"

int main(int argc, char** argv) {
    if (const int code = coldtune::audio::run_audio_child_if_asked(argc, argv); code >= 0) return code;
    ::testing::InitGoogleTest(&argc, argv);
    const auto folder = coldtune::testing::prepare_private_audio();
    const int code = RUN_ALL_TESTS();
    std::error_code ignored;
    std::filesystem::remove_all(folder, ignored);
    return code;
}
