// Following a resonance live, while a hand moves a top load or a tap: one period of sweep loops without a gap, and the
// newest stretch of it is analysed again and again.
#pragma once

#include <functional>
#include <stop_token>

#include "analyzer/audio/audio_port.hpp"
#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/session.hpp"

namespace coldtune::measure {

struct FollowSettings {
    SessionSettings session;  // periods is ignored; period_frames, where given, is that of the loop
    AnalysisRequest bench;    // everything but the coil's capture
};

struct FollowReading {
    std::size_t number = 0;  // from 1
    double at_s = 0;         // when its last sample was recorded, since the loop began
    double late_s = 0;       // from then until the result was there
    double period_s = 0;
    double peak_generator = 0, peak_coil = 0;  // full scale = 1
    MeasurementResult result;                  // rejected while the hand is in it, mostly
};
using FollowCallback = std::function<void(FollowReading&&)>;

// A coarse sweep finds where to look; then readings come, about six a second as long as the resonance is wide enough
// for it, from the calling thread. The sweep is concentrated on the resonance and follows it; when it is lost, the
// whole band sounds again. Returns Done when stopped. Errors: usage for settings out of range or a hookup without a
// resonance; (bad_input) a description that cannot be built; device for what the port reports.
Status follow(audio::AudioPort& port, const FollowSettings& settings, const std::stop_token& stop,
              const FollowCallback& callback, const SessionProgressCallback& progress);

}  // namespace coldtune::measure
