// Measuring on an interface with one input: the stimulus itself is the reference, the input hears the coil side.
//
// The ratio input / stimulus then holds the whole interface besides the bench: converters, gains, output resistance and
// the delay through buffers. As a bilinear map of the impedance it is removed by the standards all the same, provided
// nothing of it changes between them and the coil: the stream stays open from the first standard to the coil, and the
// open and the load standard are a must (short refines the lead). The correction is blind to a common factor of all
// ratios, so no formula changes.
#pragma once

#include <functional>
#include <map>

#include "analyzer/measure/session.hpp"

namespace coldtune::measure {

// Asked before each sweep: connect this, then return true; false ends the session. From the session's own thread.
using ConnectCallback = std::function<bool(bench::Hookup)>;

struct OneInputRecord {
    std::map<bench::Hookup, audio::CaptureFile> standards;  // open, load and, where asked for, short
    SessionRecord coil;
    std::size_t delay_frames = 0;  // through the interface, taken out of all captures alike
};

// `settings.coil_input` is the input; generator_input is ignored. In the captures channel 1 is the stimulus, delayed as
// the interface delays it. Errors: as run_session; usage for a hookup that is not foot, winding or tank; device when
// the input does not hear the stimulus.
Result<OneInputRecord> run_one_input_session(audio::AudioPort& port, const SessionSettings& settings, bool with_short,
                                             const ConnectCallback& connect, std::stop_token stop,
                                             const SessionProgressCallback& progress);

}  // namespace coldtune::measure
