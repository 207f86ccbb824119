// Two simultaneous channels as they came from an interface or a file.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace coldtune::dsp {

// Samples of both inputs, full scale = 1.0 (a PCM file's most negative code is -1.0). Both channels have the same
// number of frames; `generator` is the reference resistor's generator side, `coil` its coil side. One frame = one
// sample of each channel.
struct TwoChannelCapture {
    double sample_rate_hz = 0;
    std::vector<double> generator;
    std::vector<double> coil;

    [[nodiscard]] std::size_t frames() const noexcept { return generator.size(); }
};

// A frequency interval, hertz, low_hz <= high_hz.
struct Band {
    double low_hz = 0;
    double high_hz = 0;
};

}  // namespace coldtune::dsp
