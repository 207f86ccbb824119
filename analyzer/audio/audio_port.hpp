// The one door to sound hardware. What is behind it may be a real interface or the simulated bench; callers cannot
// tell.
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
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

// A stream that stays open between sweeps.
struct HoldRequest {
    std::string device;
    double sample_rate_hz = 0;
    std::size_t output_channel = 0;
    std::size_t generator_input = 0;
    std::size_t coil_input = 1;            // the same as generator_input on an interface with one input
    std::size_t most_stimulus_frames = 0;  // of any sweep or loop to come
    std::size_t most_recorded_frames = 0;  // likewise, tail included
    double ramp_s = 0.005;
    // Late buffers: false = they end the stream, since the delay from output to input may have changed for good; true =
    // they only spoil what was being recorded (two inputs, whose ratio no delay enters).
    bool outlives_late_buffers = false;
};

// Output and input stay locked to each other: whatever is played in one held stream comes back after one and the same
// delay. Destroying it ramps down and gives the device back. One thread at a time.
class HeldStream {
public:
    virtual ~HeldStream() = default;
    // The device's actual rate.
    [[nodiscard]] virtual double sample_rate_hz() const = 0;
    // As AudioPort::play_and_record. A buffer that came late since the stream was opened, also between two sweeps, is a
    // device fault, unless the stream was asked to outlive it. After a device fault the stream is of no further use.
    virtual Result<Recording> play_and_record(std::span<const double> stimulus, std::size_t tail_frames,
                                              std::stop_token stop, const ProgressCallback& progress) = 0;
    // Plays `period` again and again without a gap, until the next call of loop, play_and_record or silence; returns as
    // soon as it runs. The last `kept_frames` (a whole number of periods) of what was recorded stay readable. A period
    // of zeros listens. Errors (usage): more than was held; (device) as above.
    virtual Status loop(std::span<const double> period, std::size_t kept_frames) = 0;
    // Frames recorded since loop() began; a frame's number modulo the period tells which sample was being played.
    virtual Result<std::uint64_t> recorded_frames() = 0;
    // `count` frames from frame number `first` on. Errors (bad_input): not recorded yet, or not kept any more.
    virtual Result<dsp::TwoChannelCapture> read(std::uint64_t first, std::size_t count) = 0;
    // Buffers that came late while something was recorded, so far. A loop that outlives them goes on; frames recorded
    // before and after one do not belong together.
    [[nodiscard]] virtual std::size_t late_buffers() const = 0;
    // Ends a loop; output silent when this returns.
    virtual Status silence() = 0;
};

class AudioPort {
public:
    virtual ~AudioPort() = default;
    virtual Result<std::vector<DeviceInfo>> devices() = 0;
    // Plays and records at once; returns when all is recorded, the stop was asked for (ErrorKind::rejected, 'stopped'),
    // or the device failed (ErrorKind::device: xrun, lost device, dead server, no progress for a second, wrong rate).
    // Never hangs.
    virtual Result<Recording> play_and_record(const SweepRequest& request, std::stop_token stop,
                                              const ProgressCallback& progress) = 0;
    // Opens a stream and keeps it. Errors as above.
    virtual Result<std::unique_ptr<HeldStream>> hold(const HoldRequest& request) = 0;
};

// The real thing. Owns a child process for each stream, so that a dead audio server cannot take the program with it.
std::unique_ptr<AudioPort> make_portaudio_port();

// To be called first thing in main(): if this process was started as the audio child it does that work and returns its
// exit code. argv as main got it; nullopt-like: -1 = not a child, go on.
int run_audio_child_if_asked(int argc, char** argv);

}  // namespace coldtune::audio
