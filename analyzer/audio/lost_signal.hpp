// Did the signal break off? An audio library does not say: when what feeds the input disappears, a server goes on
// delivering zeros without any flag. So the generator-side channel is judged, which must carry the stimulus all along.
// (The coil side may rightly be silent: the short standard.)
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace coldtune::audio {

struct LostSignal {
    enum class How {
        never_came,  // not one sample moved, long after the stimulus began
        stuck,       // samples stopped moving: exact zeros, or a held value
        faded,       // the level fell by 50 dB and stayed there
    };
    How how = How::stuck;
    double at_s = 0;  // of the recording; 0 for never_came
};

// Finds exact silence while the recording runs. A converter always shows noise, so a run of equal samples longer than
// the longest pause of the stimulus plus 3 ms (3 ms: more than the flat top of a quantised 20 Hz sine at -6 dBFS in 16
// bit, 0.2 ms, and less than a lost buffer of 1024 frames at 192 kHz, 5.3 ms) is a lost input. Runs near the
// recording's own peak are left alone: that is clipping, which is judged elsewhere. Whatever happens after the stimulus
// ended is of no interest.
class SilenceWatch {
public:
    // `stimulus` must outlive the watch. Full scale = 1.
    SilenceWatch(std::span<const float> stimulus, double sample_rate_hz);

    // `generator` holds everything recorded so far on the generator side, from the first frame. Each call looks only at
    // what is new. `finished`: nothing more will come.
    std::optional<LostSignal> look(std::span<const float> generator, bool finished);

private:
    double sample_rate_hz_;
    std::size_t stimulus_begin_ = 0;  // first and one past the last frame that sound
    std::size_t stimulus_end_ = 0;
    std::size_t longest_run_ = 0;  // still allowed
    std::size_t seen_ = 0;
    std::size_t run_begin_ = 0;
    std::optional<std::size_t> signal_begin_;  // first recorded frame that differs from the one before
    float peak_ = 0;
};

// Finds a level that collapsed although samples still move (a plug pulled from a converter leaves its noise). Compares
// 10 ms blocks with the stimulus shifted by the delay seen at the onset; lost is 50 ms or more at less than 0.3 % of
// the usual gain, while the stimulus and its neighbouring blocks stay within 20 dB of its strongest block.
std::optional<LostSignal> find_faded_signal(std::span<const float> stimulus, std::span<const float> generator,
                                            double sample_rate_hz);

// The sentence for the person at the bench.
std::string describe(const LostSignal& lost, const std::string& device, std::size_t generator_input);

}  // namespace coldtune::audio
