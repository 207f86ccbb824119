// main() of the benchmarks: as the real program, it starts itself again as the audio child.
#include <benchmark/benchmark.h>

#include <filesystem>
#include <system_error>

#include "analyzer/audio/audio_port.hpp"
#include "tests/support/jack_server.hpp"

int main(int argc, char** argv) {
    if (const int code = coldtune::audio::run_audio_child_if_asked(argc, argv); code >= 0) return code;
    benchmark::Initialize(&argc, argv);
    if (benchmark::ReportUnrecognizedArguments(argc, argv)) return 2;
    const auto folder = coldtune::testing::prepare_private_audio();
    benchmark::RunSpecifiedBenchmarks();
    benchmark::Shutdown();
    std::error_code ignored;
    std::filesystem::remove_all(folder, ignored);
    return 0;
}
