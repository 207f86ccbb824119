// The steps that every kind of session is put together from. Used by session.cpp and one_input.cpp.
#pragma once

#include <optional>
#include <string>

#include "analyzer/audio/capture_file.hpp"
#include "analyzer/measure/session.hpp"
#include "dsp/correction.hpp"
#include "dsp/stimulus.hpp"

namespace coldtune::measure {

std::size_t frames_of(double seconds, double rate_hz);
// Recorded after a sweep: the latency of the interface and the coil's ring-down.
std::size_t tail_frames(double rate_hz);

Status check_settings(const SessionSettings& settings);

// The flat sweep over the whole band; `periods` is left to the caller.
dsp::PeriodicSweep flat_sweep(const SessionSettings& settings);
// Never louder than asked, and softer where a small reference resistor would put much on a head not yet known.
void make_coarse(dsp::PeriodicSweep& sweep, const SessionSettings& settings);

// What a coarse sweep shows. It steers the next sweep and is no result.
struct CoarseView {
    std::optional<double> frequency_hz, q;
    double half_width_hz = 0;              // of what the next sweep concentrates on
    std::optional<double> narrow_peak_hz;  // seen, but narrower than the coarse bins can resolve
    std::optional<double> head_q;          // with the resistor in the circuit, where the head is free to rise
};
CoarseView look(const dsp::TwoChannelCapture& capture, std::size_t period_frames, const SessionSettings& settings,
                const dsp::Standards& standards);

// Whether what was seen may be driven at the level that was asked for.
Status check_head(const CoarseView& view, const SessionSettings& settings);

// As asked; where a peak was seen whose Q the bins could not resolve, and with it what the head would reach, no louder
// than the first look.
double level_after(const CoarseView& view, const SessionSettings& settings);

// Turns the coarse sweep into one that spends its time where the view says, with bins fine enough for it.
void concentrate(dsp::PeriodicSweep& sweep, const CoarseView& view, const SessionSettings& settings);
// An audio port's progress as that of one step of a session; nothing where nobody asked. `progress` must outlive it.
audio::ProgressCallback step_progress(const SessionProgressCallback& progress, int step, int steps, const char* what,
                                      double duration_s);

// As many periods as the final sweep needs.
void make_final(dsp::PeriodicSweep& sweep, const SessionSettings& settings);
const char* name_of_final(const CoarseView& view);

// A recording with its note filled in.
audio::CaptureFile keep(dsp::TwoChannelCapture capture, const dsp::PeriodicSweep& sweep, bench::Hookup hookup,
                        const SessionSettings& settings);

}  // namespace coldtune::measure
