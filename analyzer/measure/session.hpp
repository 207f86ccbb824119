// One measurement on an audio port: a coarse sweep over the whole band, then one concentrated around what it found.
//
// The coarse sweep shows roughly where a resonance is and how narrow; the second spends its time there and takes a
// period long enough that the resonance is wide in bins. Standards need one flat sweep only. Cancellable at any moment.
#pragma once

#include <functional>
#include <optional>
#include <stop_token>
#include <string>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/audio/capture_file.hpp"
#include "analyzer/bench/hookup.hpp"
#include "analyzer/measure/head_voltage.hpp"
#include "dsp/correction.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::measure {

struct SessionSettings {
    std::string device;
    double sample_rate_hz = 0;
    bench::Hookup hookup = bench::Hookup::foot;
    bool coupled = false;  // hookup foot: two peaks are expected, the second sweep covers both
    dsp::BenchValues bench;
    double level_dbfs = -6;                    // peak, <= 0
    HeadLimit head;                            // at the foot: no sweep that exceeds it, once Q is known
    std::optional<dsp::Band> band;             // nullopt: default_band(rate)
    std::optional<std::size_t> period_frames;  // nullopt: about 2/3 s, longer where the resonance is narrow
    std::optional<std::size_t> periods;        // of the final sweep, settling period included
    std::size_t output_channel = 0;            // 0-based
    std::size_t generator_input = 0;
    std::size_t coil_input = 1;
};

// 1 kHz to 0.45 of the rate: the silent bins below show distortion, above lie the converters' filters (common practice,
// no source).
dsp::Band default_band(double sample_rate_hz);

struct SessionProgress {
    int step = 1, steps = 1;
    const char* what = "";  // "coarse sweep", ...
    double fraction = 0;    // of this step
    double seconds_left = 0;
    double peak_generator = 0, peak_coil = 0;
};
using SessionProgressCallback = std::function<void(const SessionProgress&)>;

struct SessionRecord {
    audio::CaptureFile capture;                 // of the final sweep, with its note filled in
    dsp::PeriodicSweep sweep;                   // what was played
    std::optional<double> coarse_frequency_hz;  // only steers the second sweep; not a result
};

// Errors: usage for settings out of range, device for what the port reports, rejected when stopped or when the level
// would put more on the head than the limit.
Result<SessionRecord> run_session(audio::AudioPort& port, const SessionSettings& settings, std::stop_token stop,
                                  const SessionProgressCallback& progress);

}  // namespace coldtune::measure
