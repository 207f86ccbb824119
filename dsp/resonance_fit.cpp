#include "dsp/resonance_fit.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>

#include "dsp/cross_checks.hpp"
#include "dsp/fit_window.hpp"
#include "dsp/peak_search.hpp"
#include "dsp/resonance_model.hpp"
#include "dsp/start_values.hpp"
#include "dsp/zero_reactance.hpp"

namespace coldtune::dsp {
namespace {

// A misfit of a tenth of the resonance's own trace moves f0 by up to a tenth of a half bandwidth and Q by about a
// tenth: a number that far off is not worth printing.
constexpr double gross_misfit = 0.1;
// At least this much of the peak must be seen beyond its top on either side, in bandwidths.
constexpr double least_margin = 0.5;
// Bins are counted within this many bandwidths on either side of the top; further out they say little about the peak.
constexpr double resolving_bandwidths = 2;
void zero_reactance(const Attempt& attempt, ResonanceFit& fit) {
    const double* theta = attempt.theta.data();
    fit.zero_reactance_hz = fit.frequency_hz;
    fit.zero_reactance_u_hz = std::sqrt(fit.covariance(0, 0));
    const auto zero = find_zero_reactance(attempt.model, theta, fit.frequency_hz, fit.q);
    if (!zero) return;
    fit.zero_reactance_hz = *zero;
    // Implicit function: df = - sum_k (dIm/dtheta_k) dtheta_k / (dIm/df).
    ResonanceModel::Derivatives slopes;
    static_cast<void>(attempt.model.immittance(fit.zero_reactance_hz, theta, &slopes));
    Eigen::VectorXd gradient(attempt.model.parameters());
    for (Eigen::Index k = 0; k < gradient.size(); ++k) gradient(k) = slopes[static_cast<std::size_t>(k)].imag();
    const double df = 1e-5 * fit.frequency_hz / (2 * fit.q);
    const auto imaginary = [&](double f) { return attempt.model.immittance(f, theta).imag(); };
    const double slope = (imaginary(*zero + df) - imaginary(*zero - df)) / (2 * df);
    fit.zero_reactance_u_hz = std::sqrt(gradient.dot(attempt.covariance * gradient)) / std::abs(slope);
}

ResonanceFit public_fit(const Attempt& attempt, std::span<const ResonanceBin> bins) {
    const double* theta = attempt.theta.data();
    const auto physical = attempt.physical();
    ResonanceFit fit;
    fit.form = attempt.model.form();
    fit.frequency_hz = physical.frequency_hz;
    fit.q = physical.q;
    fit.resistance_ohm = fit.form == ResonanceForm::series ? 1 / physical.height : physical.height;
    fit.background = attempt.model.public_background(theta);
    fit.background_curvature = attempt.model.public_curvature(theta);
    fit.offset = physical.offset;
    fit.tilt = physical.tilt;
    const Eigen::MatrixXd passage = attempt.model.to_public(theta);
    fit.covariance = passage * attempt.covariance * passage.transpose();
    fit.q_u = std::sqrt(fit.covariance(1, 1));
    fit.resistance_u_ohm = std::sqrt(fit.covariance(2, 2));
    fit.chi_square = attempt.chi_square;
    fit.degrees_of_freedom = static_cast<std::size_t>(attempt.degrees_of_freedom);
    fit.misfit = attempt.misfit;
    fit.window = {bins[attempt.window.first].frequency_hz, bins[attempt.window.last - 1].frequency_hz};
    zero_reactance(attempt, fit);
    const auto checks = cross_checks(attempt.bins, attempt.model, theta);
    fit.half_power_q = checks.half_power_q;
    fit.phase_slope_q = checks.phase_slope_q;
    fit.ringdown_q = checks.ringdown_q;
    return fit;
}

// The stretch of the data that belongs to one peak: up to where each neighbour is as many of its own bandwidths away.
Band limits_of(const FoundPeak& peak, const std::vector<FoundPeak>& all, std::span<const ResonanceBin> bins) {
    Band limits{bins.front().frequency_hz, bins.back().frequency_hz};
    for (const auto& other : all) {
        const double distance = other.peak.frequency_hz - peak.peak.frequency_hz;
        if (distance == 0) continue;
        const double border = peak.peak.frequency_hz + distance * peak.width_hz / (peak.width_hz + other.width_hz);
        (distance > 0 ? limits.high_hz : limits.low_hz) =
            distance > 0 ? std::min(limits.high_hz, border) : std::max(limits.low_hz, border);
    }
    return limits;
}

// Place and height of a further peak by a fit of its own, as found where that does not succeed.
Peak located(const FoundPeak& peak, const std::vector<FoundPeak>& all, std::span<const ResonanceBin> bins,
             ResonanceForm form, const FitOptions& options) {
    constexpr double bandwidths = 3;
    Peak result = peak.peak;
    const Band limits = limits_of(peak, all, bins);
    const auto start = start_values(bins, peak, form, options.series_loss, limits);
    if (!start) return result;
    const auto attempt = Fitter(bins, form, options, limits).at(bandwidths, *start);
    if (!attempt) return result;
    const auto fit = attempt->physical();
    if (std::abs(fit.frequency_hz - result.frequency_hz) > peak.width_hz) return result;
    result.frequency_hz = fit.frequency_hz;
    result.height = attempt->model.immittance(fit.frequency_hz, attempt->theta.data()).real();
    return result;
}

// Where a curve was refused is said to three digits, to know where to look: it is no measured value.
NoFit at_edge(double edge_hz, bool high) {
    return {NoFit::Reason::at_band_edge,
            fmt::format("the curve still rises at {:.6g} Hz, the {} end of the data: a resonance there lies outside; "
                        "{}, or measure by another way",
                        edge_hz, high ? "upper" : "lower",
                        high ? "use a higher sample rate or a wider band" : "start the band lower")};
}

NoFit too_coarse(double frequency_hz, std::size_t bins, std::size_t needed) {
    return {
        NoFit::Reason::too_coarse,
        fmt::format("the peak near {:.3g} kHz has only {} bins across it where {} are needed: use a longer period, or "
                    "a sweep concentrated around it",
                    1e-3 * frequency_hz, bins, needed)};
}

}  // namespace

namespace {

// `peaks`: tallest first, at least one.
const FoundPeak& peak_to_fit(const std::vector<FoundPeak>& peaks, const FitOptions& options) {
    constexpr double kOctave = 0.5, kLowest = 0.2;
    const Peak& tallest = peaks.front().peak;
    const FoundPeak* chosen = &peaks.front();
    for (const FoundPeak& other : peaks) {
        if (!options.fundamental || other.peak.frequency_hz > kOctave * tallest.frequency_hz) continue;
        if (other.peak.height < kLowest * tallest.height) continue;
        if (other.peak.frequency_hz < chosen->peak.frequency_hz) chosen = &other;
    }
    return *chosen;
}

}  // namespace

FitOutcome fit_resonance(const CorrectedResponse& data, ResonanceForm form, const FitOptions& options) {
    const std::vector<ResonanceBin> all = usable_bins(data, form);
    const std::span<const ResonanceBin> bins(all);
    const char* what = form == ResonanceForm::series ? "conductance" : "resistance";
    if (bins.size() < options.minimum_bins) {
        return NoFit{
            NoFit::Reason::too_coarse,
            fmt::format("the data hold {} usable bins where {} are needed: use a longer period or a wider band",
                        bins.size(), options.minimum_bins)};
    }
    PeakSearch search = search_peaks(bins, options.detection_sigma);
    refine_peaks(bins, search.peaks, form, options.series_loss);
    const double edge = std::max(search.low_edge_excess, search.high_edge_excess);
    const bool high = search.high_edge_excess >= search.low_edge_excess;
    const double edge_hz = high ? bins.back().frequency_hz : bins.front().frequency_hz;
    // A bump three times lower than what rises into the edge belongs to the outside resonance's neighbourhood.
    if (edge > 0 && (search.peaks.empty() || edge > 3 * search.peaks.front().contrast)) return at_edge(edge_hz, high);
    if (search.peaks.empty()) {
        return NoFit{NoFit::Reason::no_peak,
                     fmt::format("no peak of the {} stands {:.3g} standard deviations above its surroundings: "
                                 "check the hookup, raise the level, or average longer",
                                 what, options.detection_sigma)};
    }
    const FoundPeak& peak = peak_to_fit(search.peaks, options);
    const Band limits = limits_of(peak, search.peaks, bins);
    const auto start = start_values(bins, peak, form, options.series_loss, limits);
    const NoFit unconverged{
        NoFit::Reason::did_not_converge,
        fmt::format(
            "the fit of what looks like a peak near {:.3g} kHz did not settle: it is too broad or too noisy "
            "for a resonance; check the clip and the hookup, average longer, or concentrate the sweep around it",
            1e-3 * peak.peak.frequency_hz)};
    if (!start) return unconverged;
    const auto count = [&](const ResonanceParameters& at) {
        return window_around(bins, at, resolving_bandwidths, {0, bins.back().frequency_hz}).size();
    };
    const Fitter fitter(bins, form, options, limits);
    const auto first = fitter.at(options.window_bandwidths, *start);
    if (!first) {
        if (count(*start) < options.minimum_bins) {
            return too_coarse(peak.peak.frequency_hz, count(*start), options.minimum_bins);
        }
        if (edge > 0) return at_edge(edge_hz, high);
        return unconverged;
    }
    const auto rough = first->physical();
    const double bandwidth = rough.frequency_hz / rough.q;
    for (const bool upper : {false, true}) {
        const double end = upper ? bins.back().frequency_hz : bins.front().frequency_hz;
        if ((upper ? end - rough.frequency_hz : rough.frequency_hz - end) < least_margin * bandwidth) {
            return at_edge(end, upper);
        }
    }
    if (count(rough) < options.minimum_bins) {
        return too_coarse(rough.frequency_hz, count(rough), options.minimum_bins);
    }
    const auto best = best_window(fitter, *first, options.window_bandwidths);
    if (!best) return unconverged;
    const double height_sigma = std::sqrt(best->covariance(2, 2)) / best->theta(2);
    if (!(height_sigma * options.detection_sigma < 1)) {
        return NoFit{NoFit::Reason::no_peak,
                     fmt::format("the peak near {:.3g} kHz is only {:.2g} standard deviations high: raise the level or "
                                 "average longer",
                                 1e-3 * rough.frequency_hz, 1 / height_sigma)};
    }
    if (best->misfit > gross_misfit) {
        return NoFit{NoFit::Reason::does_not_describe,
                     fmt::format("the data near {:.3g} kHz depart from a single resonance by {:.2g} percent of its "
                                 "height: look for a second resonance, a loose contact or a wrong hookup",
                                 1e-3 * rough.frequency_hz, 100 * best->misfit)};
    }
    ResonanceFit fit = public_fit(*best, bins);
    for (const auto& other : search.peaks) {
        const double distance = std::abs(other.peak.frequency_hz - fit.frequency_hz);
        if (&other == &peak || distance < 0.5 * fit.frequency_hz / fit.q) continue;
        fit.other_peaks.push_back(located(other, search.peaks, bins, form, options));
    }
    return fit;
}

std::vector<Peak> find_peaks(const CorrectedResponse& data, ResonanceForm form, const FitOptions& options) {
    const auto bins = usable_bins(data, form);
    auto search = search_peaks(bins, options.detection_sigma);
    refine_peaks(bins, search.peaks, form, options.series_loss);
    std::vector<Peak> peaks;
    for (const auto& found : search.peaks) peaks.push_back(found.peak);
    return peaks;
}

}  // namespace coldtune::dsp
