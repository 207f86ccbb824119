// Loaded before the audio library: every stream is refused with the error in COLDTUNE_TEST_STREAM_ERROR. There is no
// sound hardware where the tests run, so no other program can hold it; what the program makes of the library's word is
// tried.
#include <portaudio.h>

#include <cstdlib>

extern "C" __attribute__((visibility("default"))) PaError Pa_OpenStream(PaStream**, const PaStreamParameters*,
                                                                        const PaStreamParameters*, double,
                                                                        unsigned long, PaStreamFlags, PaStreamCallback*,
                                                                        void*) {
    const char* error = std::getenv("COLDTUNE_TEST_STREAM_ERROR");
    return error == nullptr ? paInternalError : std::atoi(error);
}
