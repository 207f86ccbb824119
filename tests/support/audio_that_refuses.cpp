// Loaded before the audio library: every stream is refused with the error in COLDTUNE_TEST_STREAM_ERROR. There is no
// sound hardware where the tests run, so no other program can hold it; what the program makes of the library's word is
// tried. The library's header stays with the one file that includes it: of a function that does nothing the name alone
// counts.
#include <cstdlib>

extern "C" __attribute__((visibility("default"))) int Pa_OpenStream(void**, const void*, const void*, double,
                                                                    unsigned long, unsigned long, void*, void*) {
    const char* error = std::getenv("COLDTUNE_TEST_STREAM_ERROR");
    return error == nullptr ? EXIT_FAILURE : std::atoi(error);
}
