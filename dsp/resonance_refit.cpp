#include <algorithm>
#include <span>

#include "dsp/fit_window.hpp"
#include "dsp/resonance_fit.hpp"
#include "dsp/resonance_model.hpp"
#include "dsp/zero_reactance.hpp"

namespace coldtune::dsp {
namespace {

// On either side. What moves all data smoothly shows in wide windows as a misfit, where the full fit would have chosen
// a narrower one.
constexpr double refit_bandwidths = 3;

}  // namespace

std::optional<ResonanceValues> refit_resonance(const CorrectedResponse& data, const ResonanceFit& base,
                                               const FitOptions& options) {
    const std::vector<ResonanceBin> all = usable_bins(data, base.form);
    const auto below = [](const ResonanceBin& bin, double f) { return bin.frequency_hz < f; };
    const auto above = [](double f, const ResonanceBin& bin) { return f < bin.frequency_hz; };
    const auto first = std::lower_bound(all.begin(), all.end(), base.window.low_hz, below);
    const auto last = std::upper_bound(first, all.end(), base.window.high_hz, above);
    const std::span<const ResonanceBin> bins(first, last);

    ResonanceParameters start;
    start.frequency_hz = base.frequency_hz;
    start.q = base.q;
    start.height = base.form == ResonanceForm::series ? 1 / base.resistance_ohm : base.resistance_ohm;
    // C (1 + b (f/f0)^2) at and about f0.
    start.background = base.background * (1 + base.background_curvature);
    start.slope = base.background * base.background_curvature;
    start.offset = base.offset;
    start.tilt = base.tilt;
    const Fitter fitter(bins, base.form, options, base.window);
    const auto attempt = fitter.within(window_around(bins, start, refit_bandwidths, base.window), start);
    if (!attempt) return std::nullopt;
    const ResonanceParameters found = attempt->physical();
    ResonanceValues values;
    values.frequency_hz = found.frequency_hz;
    values.q = found.q;
    values.resistance_ohm = base.form == ResonanceForm::series ? 1 / found.height : found.height;
    values.zero_reactance_hz = find_zero_reactance(attempt->model, attempt->theta.data(), found.frequency_hz, found.q)
                                   .value_or(found.frequency_hz);
    return values;
}

}  // namespace coldtune::dsp
