// From a capture to the spectra of its whole, steady periods on one clock. Internal to dsp.
#pragma once

#include <cstddef>
#include <optional>

#include "dsp/capture.hpp"
#include "dsp/clock_drift.hpp"
#include "dsp/response.hpp"
#include "dsp/result.hpp"
#include "dsp/signal_extent.hpp"

namespace coldtune::dsp {

constexpr std::size_t shortest_period = 16;

// Where the whole periods lie: `count` of them from frame `first` on.
struct PeriodLayout {
    std::size_t first = 0;
    std::size_t count = 0;
    SignalExtent signal;
};

// Errors (bad_input): no signal; less than settle + 1 periods of it.
Result<PeriodLayout> lay_out_periods(const TwoChannelCapture& capture, const PeriodicOptions& options);

// Spectra (not scaled, of the lines worth keeping) of the periods finally used: the longest steady stretch, resampled
// to the player's clock where that differs, turned to begin together.
struct CollectedPeriods {
    PeriodSpectra generator, coil;
    std::size_t first_frame = 0;
    std::size_t frames = 0;
    std::size_t left_out = 0;  // whole periods that do not agree with these
    std::optional<double> drift_ppm;
    bool resampled = false;
};

// Errors (bad_input): the signal does not repeat with the period; too short to remove a drift.
Result<CollectedPeriods> collect_periods(const TwoChannelCapture& capture, const PeriodicOptions& options,
                                         const PeriodLayout& layout);

}  // namespace coldtune::dsp
