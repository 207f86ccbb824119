#include "analyzer/measure/pair_fit.hpp"

#include <fmt/format.h>

#include <Eigen/QR>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "dsp/fit_window.hpp"
#include "dsp/peak_search.hpp"
#include "dsp/start_values.hpp"

namespace coldtune::measure {
namespace {

constexpr double kDetectionSigma = 6;          // as a single resonance's
constexpr double kSmallestShare = 1e-3;        // of the higher peak: lower ones are ripples or other modes
constexpr std::size_t kFewestBinsAcross = 12;  // across the half-power width of either peak
// Only bins within this many half-power widths of either peak: they hold what there is to know, and further out the
// finer structure of a coil shows that is not in the model.
constexpr double kReachBandwidths = 4;
constexpr double kClosestToNextMode = 0.75;  // of its frequency: beyond, the sums over the higher modes no longer hold
constexpr double kGrossMisfit = 0.1;  // rms of data minus model within a bandwidth of a peak, relative to its height

struct TwoPeaks {
    dsp::FoundPeak lower, upper;
};

std::variant<TwoPeaks, std::string> two_peaks(const std::vector<dsp::ResonanceBin>& bins) {
    dsp::PeakSearch search = dsp::search_peaks(bins, kDetectionSigma);
    dsp::refine_peaks(bins, search.peaks, dsp::ResonanceForm::series, false);
    auto& peaks = search.peaks;
    if (!peaks.empty()) {
        const double least = kSmallestShare * peaks.front().contrast;
        std::erase_if(peaks, [&](const dsp::FoundPeak& p) { return p.contrast < least; });
    }
    if (peaks.size() < 2) {
        return fmt::format(
            "{} in the band, where a coupled pair makes two: check that the tank is closed, or open it "
            "and analyse the secondary alone",
            peaks.empty() ? std::string("no peak stands out of the noise")
                          : fmt::format("only one peak, at {:.6g} Hz, stands out", peaks.front().peak.frequency_hz));
    }
    TwoPeaks two{peaks[0], peaks[1]};
    if (two.lower.peak.frequency_hz > two.upper.peak.frequency_hz) std::swap(two.lower, two.upper);
    return two;
}

// Two lumped circuits with these peaks: the strength of a peak (height times width) is the share of the secondary in
// that mode, its width the mean of both circuits' losses in the same shares. Works in 1/f^2, in which the pair is a
// symmetric matrix of its own frequencies and k/(f_a f_b).
PairParameters start_from(const TwoPeaks& two) {
    const auto strength = [](const dsp::FoundPeak& p) { return p.contrast * p.width_hz / p.peak.frequency_hz; };
    const double s1 = strength(two.lower), s2 = strength(two.upper);
    const double share = std::clamp(s1 / (s1 + s2), 1e-4, 1 - 1e-4);  // of the secondary in the lower mode
    const double e1 = 1 / std::pow(two.lower.peak.frequency_hz, 2), e2 = 1 / std::pow(two.upper.peak.frequency_hz, 2);
    const double b = share * e1 + (1 - share) * e2;
    const double a = (1 - share) * e1 + share * e2;
    PairParameters p;
    p.secondary_hz = 1 / std::sqrt(b);
    p.primary_hz = 1 / std::sqrt(a);
    p.k = std::clamp((e1 - e2) * std::sqrt(share * (1 - share)) / std::sqrt(a * b), 1e-4, 0.9);
    const double d1 = two.lower.width_hz / two.lower.peak.frequency_hz;
    const double d2 = two.upper.width_hz / two.upper.peak.frequency_hz;
    // Both widths from both losses; where the shares are nearly equal that cannot be undone, and the mean must do.
    const double determinant = share * share - (1 - share) * (1 - share);
    const double mean = 0.5 * (d1 + d2);
    double loss_b = mean, loss_a = mean;
    if (std::abs(determinant) > 0.2) {
        loss_b = std::clamp((share * d1 - (1 - share) * d2) / determinant, 0.2 * mean, 3 * mean);
        loss_a = std::clamp((share * d2 - (1 - share) * d1) / determinant, 0.2 * mean, 3 * mean);
    }
    p.secondary_q = 1 / loss_b;
    p.primary_q = 1 / loss_a;
    p.strength_s = s1 + s2;
    return p;
}

std::vector<dsp::ResonanceBin> inside(const std::vector<dsp::ResonanceBin>& bins,
                                      const std::array<dsp::Band, 2>& windows) {
    std::vector<dsp::ResonanceBin> chosen;
    for (const auto& bin : bins) {
        const auto in = [&](const dsp::Band& w) {
            return bin.frequency_hz >= w.low_hz && bin.frequency_hz <= w.high_hz;
        };
        if (in(windows[0]) || in(windows[1])) chosen.push_back(bin);
    }
    return chosen;
}

dsp::Band around(const dsp::FoundPeak& peak, double widths) {
    return {peak.peak.frequency_hz - widths * peak.width_hz, peak.peak.frequency_hz + widths * peak.width_hz};
}

// Beyond what noise explains, near the tops, relative to the higher of them; 0 where chi square is as expected.
double misfit_of(const PairModel& model, const Eigen::VectorXd& theta, const std::vector<dsp::ResonanceBin>& bins,
                 const PairFit& fit) {
    const double freedom = static_cast<double>(fit.degrees_of_freedom);
    if (fit.chi_square < freedom + 3 * std::sqrt(2 * freedom)) return 0;
    double square = 0;
    int count = 0;
    for (const auto& bin : bins) {
        const auto near = [&](double f, double q) { return std::abs(bin.frequency_hz - f) < f / q; };
        const double q = std::min(fit.value.primary_q, fit.value.secondary_q);
        if (!near(fit.resonance_hz[0], q) && !near(fit.resonance_hz[1], q)) continue;
        const auto y = model.admittance(bin.frequency_hz, theta.data());
        square += std::norm(bin.immittance - y) - 2 * bin.immittance_sigma * bin.immittance_sigma;
        ++count;
    }
    const double height = std::max(fit.conductance_s[0], fit.conductance_s[1]);
    return square > 0 && count > 0 ? std::sqrt(square / count) / height : 0;
}

struct Covariances {
    Eigen::MatrixXd noise;   // shape and form of the loss taken as known
    Eigen::MatrixXd fitted;  // shape taken as known
    Eigen::MatrixXd whole;
};

// Of theta at the minimum, to first order. The shape is not fitted: an error of one standard uncertainty in it shifts
// the minimum by -(J^T J)^-1 J^T j_shape.
std::optional<Covariances> covariances_of(const PairModel& model, const std::vector<dsp::ResonanceBin>& bins,
                                          const Eigen::VectorXd& theta) {
    constexpr Eigen::Index n = PairModel::parameters, free = PairModel::parameters - PairModel::priors;
    const dsp::LeastSquaresProblem problem = model.problem(bins, true);
    Eigen::VectorXd residuals(problem.residuals);
    Eigen::MatrixXd jacobian(problem.residuals, PairModel::all);
    problem.evaluate(theta.data(), residuals.data(), jacobian.data());
    const Eigen::HouseholderQR<Eigen::MatrixXd> qr(jacobian);
    const Eigen::MatrixXd r = qr.matrixQR().topRows(PairModel::all).triangularView<Eigen::Upper>();
    const auto inverse_of = [](const Eigen::MatrixXd& upper) -> Eigen::MatrixXd {
        return upper.triangularView<Eigen::Upper>().solve(Eigen::MatrixXd::Identity(upper.rows(), upper.cols()));
    };
    if (!(r.diagonal().cwiseAbs().head(n).minCoeff() > 0)) return std::nullopt;
    const Eigen::MatrixXd inverse = inverse_of(r.topLeftCorner(n, n));
    const Eigen::MatrixXd shifts = -(inverse * r.topRightCorner(n, PairModel::all - n));
    Covariances result;
    result.fitted = inverse * inverse.transpose();
    result.whole = result.fitted + shifts * shifts.transpose();
    // The free parameters come first, so their block of R is what holding the others leaves.
    const Eigen::MatrixXd held = inverse_of(r.topLeftCorner(free, free));
    result.noise = Eigen::MatrixXd::Zero(n, n);
    result.noise.topLeftCorner(free, free) = held * held.transpose();
    if (!result.whole.allFinite() || !result.noise.allFinite()) return std::nullopt;
    return result;
}

// Uncertainty of the pair's resonances, by differences of one standard deviation of each parameter.
void propagate_resonances(const PairModel& model, const Eigen::VectorXd& theta, const Eigen::MatrixXd& covariance,
                          PairFit& fit) {
    Eigen::MatrixXd slopes = Eigen::MatrixXd::Zero(2, PairModel::parameters);
    for (Eigen::Index k = 0; k < PairModel::parameters; ++k) {
        const double step = 1e-3 * std::sqrt(covariance(k, k));
        Eigen::VectorXd up = theta, down = theta;
        up(k) += step;
        down(k) -= step;
        const auto high = model.resonances_hz(model.physical(up.data()));
        const auto low = model.resonances_hz(model.physical(down.data()));
        for (std::size_t m = 0; m < 2; ++m) slopes(static_cast<Eigen::Index>(m), k) = (high[m] - low[m]) / (2 * step);
    }
    const Eigen::MatrixXd c = slopes * covariance * slopes.transpose();
    fit.resonance_u_hz = {std::sqrt(c(0, 0)), std::sqrt(c(1, 1))};
}

}  // namespace

PairFitOutcome fit_pair(const dsp::CorrectedResponse& data, const PairShape& shape, const PairFit* near) {
    const std::vector<dsp::ResonanceBin> all = dsp::usable_bins(data, dsp::ResonanceForm::series);
    if (all.size() < 4 * kFewestBinsAcross) {
        return fmt::format("the data hold only {} usable bins: use a longer period or a wider band", all.size());
    }
    PairParameters start;
    std::array<dsp::Band, 2> windows;
    if (near != nullptr) {
        start = near->value;
        windows = near->windows;
    } else {
        const auto found = two_peaks(all);
        if (const auto* why = std::get_if<std::string>(&found)) return *why;
        const TwoPeaks& two = std::get<TwoPeaks>(found);
        for (const dsp::FoundPeak* peak : {&two.lower, &two.upper}) {
            const double f = peak->peak.frequency_hz;
            const dsp::Band width = around(*peak, 1);
            const std::size_t across = inside(all, {width, width}).size();
            if (across < kFewestBinsAcross) {
                return fmt::format(
                    "the peak near {:.3g} kHz has only {} bins across it where {} are needed: use a "
                    "longer period",
                    1e-3 * f, across, kFewestBinsAcross);
            }
        }
        // The next mode of a secondary alone makes a second peak as well.
        const double ratio = two.upper.peak.frequency_hz / two.lower.peak.frequency_hz;
        if (!shape.higher.empty() && ratio > kClosestToNextMode * shape.higher.front().frequency_ratio) {
            return fmt::format(
                "the upper peak, at {:.6g} Hz, lies where the secondary's own second mode is expected: the tank is not "
                "seen; check that it is closed, or open it and analyse the secondary alone",
                two.upper.peak.frequency_hz);
        }
        start = start_from(two);
        windows = {around(two.lower, kReachBandwidths), around(two.upper, kReachBandwidths)};
    }
    std::vector<dsp::ResonanceBin> bins = inside(all, windows);
    const PairModel model(shape, start);
    auto solution = dsp::minimise_orthogonal(model.problem(bins), model.scaled(start).head(PairModel::parameters));
    if (solution && solution->converged()) {
        Eigen::VectorXd residuals(2 * static_cast<Eigen::Index>(bins.size()) + PairModel::priors);
        model.problem(bins).evaluate(solution->parameters.data(), residuals.data(), nullptr);
        auto kept = dsp::without_spoiled(bins, residuals);
        if (kept.size() < bins.size()) {
            bins = std::move(kept);
            solution = dsp::minimise_orthogonal(model.problem(bins), solution->parameters);
        }
    }
    const std::string not_described =
        "two peaks are seen, but two coupled circuits do not describe them: look for a third circuit, a loose contact "
        "or a tank that is not closed";
    if (!solution || !solution->converged()) return not_described;
    Eigen::VectorXd theta = Eigen::VectorXd::Zero(PairModel::all);
    theta.head(PairModel::parameters) = solution->parameters;
    const auto covariances = covariances_of(model, bins, theta);
    if (!covariances) return not_described;

    PairFit fit;
    fit.value = model.physical(theta.data());
    const Eigen::VectorXd passage = model.to_public(theta.data());
    fit.covariance = passage.asDiagonal() * covariances->whole.topLeftCorner<5, 5>() * passage.asDiagonal();
    fit.fitted_covariance = passage.asDiagonal() * covariances->fitted.topLeftCorner<5, 5>() * passage.asDiagonal();
    fit.noise_covariance = passage.asDiagonal() * covariances->noise.topLeftCorner<5, 5>() * passage.asDiagonal();
    fit.resonance_hz = model.resonances_hz(fit.value);
    propagate_resonances(model, theta, covariances->whole, fit);
    for (std::size_t m = 0; m < 2; ++m)
        fit.conductance_s[m] = model.admittance(fit.resonance_hz[m], theta.data()).real();
    fit.chi_square = solution->chi_square;
    fit.degrees_of_freedom = 2 * bins.size() + PairModel::priors - PairModel::parameters;
    fit.windows = windows;
    const bool possible = fit.value.k < 0.95 && fit.value.primary_q > 1 && fit.value.secondary_q > 1 &&
                          std::sqrt(fit.covariance(4, 4)) * kDetectionSigma < fit.value.k;
    if (!possible || misfit_of(model, theta, bins, fit) > kGrossMisfit) return not_described;
    return fit;
}

}  // namespace coldtune::measure
