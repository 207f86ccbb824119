// Decay of a resonance after a burst, from the real signal: the time-domain check on Q.
//
// Once the drive has stopped a second-order resonance rings as
//     x(t) = A exp(-t/tau) cos(2 pi f_d t + phase) + offset,
//     f_d = f0 sqrt(1 - 1/(4 Q^2)),   1/tau = pi f0 / Q     (envelope exp(-pi f0 t/Q); textbook, poles of the circuit)
// so f0 = sqrt(f_d^2 + 1/(2 pi tau)^2) and Q = pi f0 tau. The fit is least squares on the samples, which is maximum
// likelihood for white noise. Anything in series that filters the signal adds its own, faster decay: start the fit
// after it has died away.
#pragma once

#include <Eigen/Core>
#include <cstddef>
#include <optional>
#include <span>

#include "dsp/capture.hpp"
#include "dsp/result.hpp"

namespace coldtune::dsp {

struct RingdownOptions {
    // First frame of the free decay, after the end of the burst. nullopt: the largest sample, right where the signal
    // holds nothing but a decay.
    std::optional<std::size_t> first_frame;
    std::optional<std::size_t> frames;  // nullopt = to the end of the signal
    std::optional<Band> band;           // where the resonance is looked for; nullopt = everywhere
    double detection_sigma = 8;         // an amplitude of fewer standard deviations is no ring-down
};

struct RingdownFit {
    double frequency_hz = 0;          // f0, undamped
    double q = 0;                     // > 0.5
    double ringing_frequency_hz = 0;  // f_d
    double decay_time_s = 0;          // tau, amplitude to 1/e
    double amplitude = 0;             // at first_frame, unit of the signal
    double phase_rad = 0;             // at first_frame, of the cosine
    double offset = 0;
    // Of frequency_hz, q, ringing_frequency_hz, decay_time_s in this order (4 x 4, rank 2): first order, white noise of
    // the variance left over by the fit.
    Eigen::MatrixXd covariance;
    double frequency_u_hz = 0;  // standard uncertainty, k = 1
    double q_u = 0;
    double noise_rms = 0;  // of what the fit leaves
    std::size_t first_frame = 0;
    std::size_t frames = 0;  // used: about 14 decay times, later frames hold only noise
};

// Errors: bad_input (no sample rate, range outside the signal, fewer than 16 frames, samples that are not numbers,
// a band without frequencies), rejected (nothing rings, no decay within the frames, no convergence).
Result<RingdownFit> fit_ringdown(std::span<const double> signal, double sample_rate_hz,
                                 const RingdownOptions& options = {});

}  // namespace coldtune::dsp
