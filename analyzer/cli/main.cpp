#include <csignal>
#include <cstdio>
#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/cli/run.hpp"

int main(int argc, char** argv) {
    // A file that may grow no further is an error like a full disk, told in a sentence, and no end without one.
    (void)std::signal(SIGXFSZ, SIG_IGN);
    // The audio child is this same program started again; it must not go through the command line.
    if (const int code = coldtune::audio::run_audio_child_if_asked(argc, argv); code >= 0) return code;
#ifdef __GLIBC__
    // Captures and their spectra come and go in blocks of ten megabytes. A block that is given back to the kernel is
    // cleared anew for the next one; kept, it is a quarter of the pages less to clear. The most memory stays the same.
    mallopt(M_MMAP_THRESHOLD, 32 << 20);
    mallopt(M_TRIM_THRESHOLD, 1 << 30);
#endif
    return coldtune::cli::run(argc, argv, stdout, stderr);
}
