// From two channels to one ratio per frequency, with the scatter that belongs to it.
//
// ratio = V_coil / V_generator. It cancels what both channels share: the interface's response, latency, level.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>
#include <vector>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::dsp {

enum class ResponseWay {
    whole_periods,  // a known period: exact bins, no window
    whole_record,   // one shot between silences: exact as well, noise from the silences and neighbouring bins
    cross_spectra,  // anything broadband: Hann segments, H1 estimate, coherence
};

// All vectors have one element per bin, frequency strictly increasing. With a known period the frequencies are the bins
// k * sample_rate / period of the PLAYER's clock, taken as running at exactly sample_rate: drift against the recorder
// is removed, so that a wrong recorder moves nothing. How far the player's own clock is off is not in these data.
struct Response {
    ResponseWay way = ResponseWay::whole_periods;
    double sample_rate_hz = 0;
    std::vector<double> frequency_hz;
    std::vector<std::complex<double>> ratio;
    // E|ratio - truth|^2 of the averaged ratio (both quadratures together, circular noise), from the capture's own
    // noise. The noise of each channel is pooled over neighbouring bins, because a variance from a handful of periods
    // makes a poor weight.
    std::vector<double> variance;
    // Peak amplitude of each channel's spectral line, full scale = 1, and the standard deviation of its noise (rms of
    // the complex error) after averaging. cross_spectra: amplitude of the sine that holds one bin's power, and the
    // incoherent part put to either channel in turn.
    std::vector<double> generator_amplitude;
    std::vector<double> coil_amplitude;
    std::vector<double> generator_noise;
    std::vector<double> coil_noise;
    std::vector<double> coherence;  // magnitude squared; empty unless way == cross_spectra
    std::size_t averages = 0;       // periods or segments averaged
    std::size_t first_frame = 0;    // first frame used
    std::size_t frames_used = 0;
    // Whole periods that differ from the others and were left out (a torn one, a fade, a contact that was lost).
    std::size_t periods_left_out = 0;
    // Clock of whatever played the stimulus against the clock that recorded it; positive: the recorded period is longer
    // than period_frames. Unknown without a known period or with a single period.
    std::optional<double> clock_drift_ppm;
    bool drift_removed = false;
    // Ratio of each period by itself, in the bins of `ratio`; empty unless asked for (keep_periods). cross_spectra: of
    // each quarter of the segments.
    std::vector<std::vector<std::complex<double>>> of_periods = {};
    // Power of the excitation in each of them over the mean of all, in the same bins; empty where it is the same in
    // all.
    std::vector<std::vector<double>> of_periods_power = {};
};

struct PeriodicOptions {
    std::size_t period_frames = 0;
    std::size_t settle_periods = 1;          // dropped after the start of the signal
    std::optional<Band> band;                // keep only bins inside; nullopt = every bin the generator excites
    std::optional<std::size_t> first_frame;  // where the settled signal starts; nullopt = found from the signal
    // Drift larger than this is removed by resampling. So is smaller drift where it would show in the ratio beside the
    // capture's own noise.
    double drift_threshold_ppm = 0.05;
    bool keep_periods = false;  // fill Response::of_periods
};

// Whole-period averaging. Settling gives up to a twentieth of a period, because a start is found late rather than
// early; of the periods left, the longest stretch that agrees is used. With a single period the noise comes from the
// silence around it, else from bins the stimulus leaves silent. Errors (bad_input): capture shorter than settle + 1
// periods of signal, no signal, signal that does not repeat with the stated period, a single period with no silence to
// tell its noise, NaN or infinite samples.
Result<Response> periodic_response(const TwoChannelCapture& capture, const PeriodicOptions& options);

struct BroadbandOptions {
    std::optional<std::size_t> segment_frames;  // cross spectra; nullopt = chosen from the length of the capture
    std::optional<Band> band;
    bool averaged = false;      // cross spectra even where the excitation lies between silences
    bool keep_periods = false;  // fill Response::of_periods from cross spectra; a single record has no parts
    // A single generator channel standing in for the recorded one (one-input interfaces) is passed as the capture's
    // generator.
};

// A capture without a known period. Chooses whole_record when the excitation lies between silences, else cross_spectra.
Result<Response> broadband_response(const TwoChannelCapture& capture, const BroadbandOptions& options);

// The first frame of the signal in a channel that may begin with silence; nullopt if there is no signal at all.
std::optional<std::size_t> find_signal_start(const std::vector<double>& channel);

// Tests whether the capture repeats with this period (normalised correlation of neighbouring periods of the generator
// channel above 0.9 after drift): used before a period noted in a file is believed.
bool repeats_with_period(const TwoChannelCapture& capture, std::size_t period_frames);

// The widest run of bins around the strongest part where the relative error of the ratio stays under `relative_error`
// (isolated spoiled bins are bridged). This is the interface's usable band, found from its own noise and response.
std::optional<Band> usable_band(const Response& response, double relative_error = 0.1);

}  // namespace coldtune::dsp
