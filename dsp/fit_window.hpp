// One fit in one window of the data, and the choice of the window.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "dsp/resonance_model.hpp"

namespace coldtune::dsp {

struct Window {
    std::size_t first = 0, last = 0;  // [first, last) of the usable bins
    [[nodiscard]] std::size_t size() const { return last > first ? last - first : 0; }
    bool operator==(const Window&) const = default;
};

struct Attempt {
    Window window;
    std::vector<ResonanceBin> bins;
    ResonanceModel model;
    Eigen::VectorXd theta;
    Eigen::MatrixXd covariance;  // of theta
    double chi_square = 0;
    double degrees_of_freedom = 0;
    // Misfit beyond what noise explains: rms of data minus model within one bandwidth of the top, relative to the
    // height; 0 where chi square is within three standard deviations of its expectation.
    double misfit = 0;
    double bandwidths = 0;  // half width asked for

    [[nodiscard]] ResonanceParameters physical() const { return model.physical(theta.data()); }
    [[nodiscard]] double q_u() const { return std::sqrt(covariance(1, 1)); }  // relative
    // Taken as fully coherent, a misfit passes into Q at its own relative size.
    [[nodiscard]] double total_error() const { return std::hypot(q_u(), misfit); }
};

// The bins without those a whistle or a hum line has spoiled; all of them where that would be more than one in twenty.
// `residuals`: real and imaginary part of each bin in units of their standard deviation, from some fit.
std::vector<ResonanceBin> without_spoiled(const std::vector<ResonanceBin>& bins, const Eigen::VectorXd& residuals);

Window window_around(std::span<const ResonanceBin> bins, const ResonanceParameters& at, double bandwidths,
                     const Band& limits);

class Fitter {
public:
    // `bins` must outlive the object. `limits` is the stretch of the data that belongs to this peak.
    Fitter(std::span<const ResonanceBin> bins, ResonanceForm form, const FitOptions& options, Band limits)
        : bins_(bins), form_(form), options_(options), limits_(limits) {}

    // Fit in a window of this many bandwidths about the running estimate; the window follows the estimate. nullopt
    // where it does not converge, leaves the limits, or finds no resonance pointing upwards.
    [[nodiscard]] std::optional<Attempt> at(double bandwidths, ResonanceParameters start) const;

    // Fit in exactly this window, terms chosen as everywhere; nullopt likewise. The misfit is left at 0.
    [[nodiscard]] std::optional<Attempt> within(const Window& window, const ResonanceParameters& start) const;

private:
    [[nodiscard]] bool lost(const Attempt& attempt) const;
    void free_terms(Attempt& attempt) const;

    std::span<const ResonanceBin> bins_;
    ResonanceForm form_;
    FitOptions options_;
    Band limits_;
};

// The widest window whose fit is within noise and agrees with the next narrower one. Where none is (low noise shows
// what the model leaves out), the one with the least total of noise and misfit. `first` is the fit at `bandwidths`.
std::optional<Attempt> best_window(const Fitter& fitter, const Attempt& first, double bandwidths);

}  // namespace coldtune::dsp
