#include <algorithm>
#include <span>

#include "dsp/resonance_fit.hpp"
#include "dsp/resonance_model.hpp"
#include "dsp/zero_reactance.hpp"

namespace coldtune::dsp {

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
    const ResonanceTerms terms{base.background_curvature != 0, base.tilt != 0};
    const ResonanceModel model(base.form, terms, options.series_loss, start);
    if (2 * static_cast<Eigen::Index>(bins.size()) < model.parameters()) return std::nullopt;
    const auto solution = minimise(model.problem(bins), model.scaled(start));
    if (!solution || !solution->converged()) return std::nullopt;
    const ResonanceParameters found = model.physical(solution->parameters.data());
    const bool lost = !(found.height > 0) || !(found.q > 0.3) || found.frequency_hz < base.window.low_hz ||
                      found.frequency_hz > base.window.high_hz;
    if (lost) return std::nullopt;
    ResonanceValues values;
    values.frequency_hz = found.frequency_hz;
    values.q = found.q;
    values.resistance_ohm = base.form == ResonanceForm::series ? 1 / found.height : found.height;
    values.zero_reactance_hz = find_zero_reactance(model, solution->parameters.data(), found.frequency_hz, found.q)
                                   .value_or(found.frequency_hz);
    return values;
}

}  // namespace coldtune::dsp
