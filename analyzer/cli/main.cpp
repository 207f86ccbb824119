#include <cstdio>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/cli/run.hpp"

int main(int argc, char** argv) {
    // The audio child is this same program started again; it must not go through the command line.
    if (const int code = coldtune::audio::run_audio_child_if_asked(argc, argv); code >= 0) return code;
    return coldtune::cli::run(argc, argv, stdout, stderr);
}
