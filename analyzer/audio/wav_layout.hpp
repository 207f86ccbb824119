// What a RIFF/WAVE or RF64 file claims about itself, held against its length.
//
// The audio library reads what is there and says nothing when the header had promised more; a capture cut short must
// not pass for a whole one. Sources: Microsoft's WAVEFORMATEXTENSIBLE documentation (container and valid bits); chunk
// order, padding and the RF64 sizes (EBU Tech 3306) from memory.
#pragma once

#include <cstdint>

#include "dsp/result.hpp"

namespace coldtune::audio {

struct WavLayout {
    int format_tag = 0;  // 1 PCM, 3 float; of an extensible file the tag inside its sub-format
    int channels = 0;
    int container_bits = 0;
    int valid_bits = 0;  // <= container_bits
    std::uint64_t frames = 0;
};

// Reads the chunk headers of an open file of `length` bytes that begins with "RIFF" or "RF64". The error (bad_input) is
// a sentence without the file's name: no WAVE inside, no format or data chunk, samples that end before the header says
// they do, a fraction of a frame.
Result<WavLayout> read_wav_layout(int descriptor, std::uint64_t length);

}  // namespace coldtune::audio
