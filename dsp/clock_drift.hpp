// How far one clock runs from another, from a signal that repeats.
//
// A recorder whose clock is faster than the player's by d sees a period of N frames last N (1 + d) frames, so each
// window of N frames shows the signal d N frames later than the window before. The delay is read from the phase of the
// cross-spectrum of neighbouring windows: power-weighted slope, the maximum-likelihood delay in white noise.
#pragma once

#include <complex>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace coldtune::dsp {

// Bins first_bin .. first_bin + width - 1 of consecutive windows of `period_frames` frames, row after row.
struct PeriodSpectra {
    std::size_t period_frames = 0;
    std::size_t first_bin = 0;
    std::size_t width = 0;
    std::vector<std::complex<double>> value;

    [[nodiscard]] std::size_t periods() const noexcept { return width == 0 ? 0 : value.size() / width; }
    [[nodiscard]] std::span<const std::complex<double>> row(std::size_t p) const {
        return std::span(value).subspan(p * width, width);
    }
    [[nodiscard]] std::span<std::complex<double>> row(std::size_t p) {
        return std::span(value).subspan(p * width, width);
    }
};

struct PairDelay {
    double frames = 0;    // by how much the second window is later; found within +- period/2
    double u_frames = 0;  // standard uncertainty, from what does not agree
    double difference =
        1;  // energy of the difference after alignment over the energy of both; 0 = equal, 1 = unrelated
    double correlation = 0;  // normalised, after alignment
};

// `expected_frames` only spares work: when the two windows do not agree there, the whole circle is searched.
PairDelay delay_between(const PeriodSpectra& spectra, std::size_t first, std::size_t second, double expected_frames);

struct DriftEstimate {
    double ppm = 0;             // positive: the recorded period is longer than period_frames
    double u_ppm = 0;           // standard uncertainty
    double u_delay_frames = 0;  // of the delay of one period
    // What is left in each period after alignment to the mean: how much later than the first it is, from the straight
    // line where the scatter allows it, else as measured one by one (wandering clocks).
    std::vector<double> delay_frames;
};

// From the delays of neighbouring periods; one element fewer than there are periods, at least one.
DriftEstimate drift_from(std::span<const PairDelay> neighbours, std::size_t period_frames);

// Multiplies every row by exp(+2 pi j k delay / N): all rows as if they began together.
void align(PeriodSpectra& spectra, std::span<const double> delay_frames);

}  // namespace coldtune::dsp
