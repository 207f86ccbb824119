// The one door to sound hardware. What is behind it may be a real interface or the simulated bench; callers cannot
// tell.
#pragma once

#include <cstddef>
#include <functional>
#include <memory>
#include <stop_token>
#include <string>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::audio {

struct DeviceInfo {
    std::string name;  // unique among the listed; what --device takes
    std::string host;  // the host interface, e.g. "ALSA"
    int input_channels = 0;
    int output_channels = 0;
    double default_rate_hz = 0;
    std::vector<double> rates_hz;  // full-duplex rates out of the usual ones (44.1k .. 384k) the device accepts
};

struct SweepRequest {
    std::string device;
    double sample_rate_hz = 0;
    std::vector<double> stimulus;     // mono, |x| <= 1, silence at both ends is the caller's business
    std::size_t output_channel = 0;   // 0-based; all others stay silent
    std::size_t generator_input = 0;  // 0-based input wired to the generator side
    std::size_t coil_input = 1;
    std::size_t tail_frames = 0;  // recorded after the stimulus ended, output silent
    double ramp_s = 0.005;        // of the output level at start and at any stop
};

// Counted by the callback while the stream ran.
struct StreamCounters {
    std::size_t frames = 0;
    std::size_t callbacks = 0;
    std::size_t input_overflows = 0;
    std::size_t input_underflows = 0;
    std::size_t output_underflows = 0;
    std::size_t output_overflows = 0;
};

struct Recording {
    dsp::TwoChannelCapture capture;  // sample_rate_hz is the ACTUAL rate the device reported
    StreamCounters counters;
    std::string device;
};

struct Progress {
    double fraction = 0;        // 0 .. 1
    double peak_generator = 0;  // of the last block, full scale = 1
    double peak_coil = 0;
};
using ProgressCallback = std::function<void(const Progress&)>;

class AudioPort {
public:
    virtual ~AudioPort() = default;
    virtual Result<std::vector<DeviceInfo>> devices() = 0;
    // Plays and records at once; returns when all is recorded, the stop was asked for (ErrorKind::rejected, 'stopped'),
    // or the device failed (ErrorKind::device: xrun, lost device, dead server, no progress for a second, wrong rate).
    // Never hangs.
    virtual Result<Recording> play_and_record(const SweepRequest& request, std::stop_token stop,
                                              const ProgressCallback& progress) = 0;
};

// The real thing. Owns a child process for each stream, so that a dead audio server cannot take the program with it.
std::unique_ptr<AudioPort> make_portaudio_port();

// To be called first thing in main(): if this process was started as the audio child it does that work and returns its
// exit code. argv as main got it; nullopt-like: -1 = not a child, go on.
int run_audio_child_if_asked(int argc, char** argv);

}  // namespace coldtune::audio
