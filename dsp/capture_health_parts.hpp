// The single questions capture_health.cpp puts together. Internal to dsp.
#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/capture_health.hpp"
#include "dsp/response.hpp"
#include "dsp/signal_extent.hpp"

namespace coldtune::dsp {

// Frames in flat tops: three or more equal samples within 1 % of the channel's own highest or lowest value, with edges
// too steep to be the rounded top of a slow wave.
std::size_t clipped_frames(std::span<const double> channel);

// Stretches of one value (zero or any other) and of a block played twice, inside the signal.
std::vector<CaptureHealth::Dropout> stuck_or_repeated(std::span<const double> channel, const SignalExtent& signal);

// Places where a signal of known period differs from itself a period later: glitches (with their length) and jumps in
// time (frames = 0). `drift_ppm` as in Response.
std::vector<CaptureHealth::Dropout> breaks_of_period(std::span<const double> channel, const SignalExtent& signal,
                                                     std::size_t period_frames, double drift_ppm);

// Largest relative change of the level from one period to the last, over stretches of a 32nd of a period.
struct LevelChanges {
    double settling = 0;  // of the period before those of `response`, its first fifth left out
    double steady = 0;    // among those of `response`
};
// nullopt without two whole periods.
std::optional<LevelChanges> level_changes(std::span<const double> channel, std::size_t period_frames,
                                          const Response& response);

// As CaptureHealth::displaced_mains. `channel` sounds all through: an edge would spill over the lines. `below_hz`:
// where the stimulus begins; what it leaves there repeats every `period_hz`.
std::optional<CaptureHealth::DisplacedMains> displaced_mains(std::span<const double> channel, double sample_rate_hz,
                                                             double below_hz, double period_hz);

// `signal_rms` of the channel, for the relative level.
std::optional<CaptureHealth::Hum> mains_hum(std::span<const double> channel, double sample_rate_hz, double signal_rms);

// From the averages of the first and the second half of the periods used by `response` (two at least).
struct PeriodFacts {
    std::optional<double> generator_distortion_db;
    std::optional<double> coil_distortion_db;
    std::optional<double> unsteadiness_sigma;
};
PeriodFacts period_facts(const TwoChannelCapture& capture, std::size_t period_frames, const Response& response);

}  // namespace coldtune::dsp
