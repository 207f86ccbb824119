// What a capture says about itself before anybody believes a number from it. Facts only; judging them is the analyzer's
// work.
#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/response.hpp"

namespace coldtune::dsp {

struct ChannelHealth {
    double peak_dbfs = 0;   // -infinity is reported as -400
    double rms_dbfs = 0;    // rms against a full-scale sine's rms (AES17), over the signal's extent
    double noise_dbfs = 0;  // broadband, same convention, from silence or from scatter between periods; -400 if none
    std::size_t clipped_frames = 0;  // runs of >= 3 equal extreme samples near this channel's own ceiling
    double dc_offset = 0;
};

struct CaptureHealth {
    ChannelHealth generator, coil;
    // Places where the signal breaks off: blocks of exact zeros or repeated samples inside the signal, or a jump in
    // time against the period.
    struct Dropout {
        std::size_t first_frame = 0;
        std::size_t frames = 0;  // 0 = a jump (frames lost or repeated)
    };
    std::vector<Dropout> dropouts;
    // Strongest line near a multiple of 50 or 60 Hz in the coil channel, peak full scale = 1, and the mains frequency
    // it belongs to; empty when nothing stands out of its surroundings by 20 dB.
    struct Hum {
        double mains_hz = 0;
        double amplitude = 0;
        double relative_to_signal_db = 0;
    };
    std::optional<Hum> hum;
    // Where the mains comb stands when it is not where it should: seen_hz is mains_hz times the ratio of two usual
    // sample rates, so the stated rate is another than the true one. Only from frequencies below the sweep.
    struct DisplacedMains {
        double mains_hz = 0;
        double seen_hz = 0;
    };
    std::optional<DisplacedMains> displaced_mains;
    std::optional<double> clock_drift_ppm;
    // Mean power at a bin the generator leaves silent but that repeats with the period, relative to the mean power at
    // an excited bin, in dB, for each channel; only for a known period with silent bins between 700 Hz and 0.465 fs.
    // Distortion of the interface or of the coil's surroundings: what an excited bin holds of it is as much. Empty as
    // well where nothing stands out of the noise.
    std::optional<double> generator_distortion_db;
    std::optional<double> coil_distortion_db;
    // Largest change of the ratio between the first and second half of the periods, in standard deviations of that
    // change (pooled): things moved, warmed or were touched meanwhile.
    std::optional<double> unsteadiness_sigma;
    // Largest relative change of the generator channel's level between periods, stretch by stretch: something sets
    // levels by itself. In the settling period and in those used; only for a known period.
    std::optional<double> settling_level_change, level_change;
};

// `period_frames` 0 = unknown. `response` (may be null) spares doing its work twice.
CaptureHealth examine(const TwoChannelCapture& capture, std::size_t period_frames, const Response* response);

}  // namespace coldtune::dsp
