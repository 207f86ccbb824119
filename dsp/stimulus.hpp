// What the generator plays: a periodic sweep, a one-shot logarithmic sweep, a tone burst.
//
// Level convention, everywhere in this project: dBFS of the PEAK, so -6 dBFS means that no sample exceeds 10^(-6/20) of
// full scale. For a sine this is the level of AES17 (full-scale sine = 0 dBFS); for a sweep its rms is lower by the
// crest factor less 3.01 dB.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::dsp {

// Every bin k * sample_rate / period inside the band sounds, so a whole number of periods has no leakage and needs no
// window.
struct PeriodicSweep {
    double sample_rate_hz = 0;
    std::size_t period_frames = 0;  // 64 .. 2^24; best a product of small primes (choose_period)
    std::size_t periods = 0;        // >= 1, counted with the settling period
    Band band;                      // 0 < low < high < sample_rate / 2; at least two bins inside
    double level_dbfs = -6;         // <= 0
    // Optional concentration: amplitude falls off on both sides of centre_hz like a single resonance of the given
    // width, never below floor_db under the centre, so that the time is spent where the resonance is.
    struct Focus {
        double centre_hz = 0;
        double half_width_hz = 0;
        double floor_db = 20;
    };
    std::optional<Focus> focus;
    std::size_t lead_in_frames = 0;   // silence before
    std::size_t lead_out_frames = 0;  // silence after
    std::size_t fade_frames = 0;      // raised-cosine ramp at both ends, inside the first period and after the last
};

// One period, peak at level_dbfs exactly. Phases after Schroeder, IEEE Trans. IT-16, 85 (1970), from the amplitudes, then
// turned until the crest factor is 1.65 (see dsp/crest.hpp). floor_db of the concentration: 0 .. 40.
Result<std::vector<double>> sweep_period(const PeriodicSweep& sweep);

// The whole signal: lead-in, `periods` periods, a faded continuation of fade_frames, lead-out.
Result<std::vector<double>> render(const PeriodicSweep& sweep);

// The smallest n >= frames whose only prime factors are 2, 3, 5 and 7 and which is even. Lengths like these transform
// fastest.
std::size_t choose_period(std::size_t frames);

// Exponential sweep, after A. Farina, AES 108th Convention, preprint 5093 (2000).
struct LogarithmicSweep {
    double sample_rate_hz = 0;
    double duration_s = 0;
    Band band;
    double level_dbfs = -6;
    std::size_t fade_frames = 0;
    std::size_t lead_in_frames = 0;
    std::size_t lead_out_frames = 0;
};
Result<std::vector<double>> render(const LogarithmicSweep& sweep);

// A tone that starts and stops abruptly at zero crossings; the silence after it holds the ring-down.
struct ToneBurst {
    double sample_rate_hz = 0;
    double frequency_hz = 0;
    std::size_t cycles = 0;
    double level_dbfs = -6;
    std::size_t lead_in_frames = 0;
    std::size_t lead_out_frames = 0;
};
Result<std::vector<double>> render(const ToneBurst& burst);

}  // namespace coldtune::dsp
