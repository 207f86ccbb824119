#include "analyzer/measure/in_band.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <iterator>
#include <numbers>

#include "analyzer/measure/declared_values.hpp"
#include "analyzer/measure/evidence.hpp"

namespace coldtune::measure {
namespace {

// A hundredth of a decibel, in which an input's gain moves with level and warmth, and what stands in the path (a gate,
// an echo, few bits) bends a curve before anything else tells. Common practice, no source.
constexpr double kInputSteadiness = 1e-3;

using Complex = std::complex<double>;

dsp::ResonanceForm form_of(bench::Hookup hookup) {
    // Seen from the foot the secondary is a series circuit; a tank and a winding with its own capacitance are parallel
    // ones.
    return hookup == bench::Hookup::foot ? dsp::ResonanceForm::series : dsp::ResonanceForm::parallel;
}

// The tank's resonance is defined as the undamped one, the foot's as zero reactance (design section 4).
template <typename Values>
double frequency_of(const Values& fit, bench::Hookup hookup) {
    return hookup == bench::Hookup::foot ? fit.zero_reactance_hz : fit.frequency_hz;
}
double frequency_u_of(const dsp::ResonanceFit& fit, bench::Hookup hookup) {
    if (hookup == bench::Hookup::foot) return fit.zero_reactance_u_hz;
    return fit.covariance.size() > 0 ? std::sqrt(fit.covariance(0, 0)) : fit.zero_reactance_u_hz;
}

dsp::ResonanceValues values_of(const dsp::ResonanceFit& fit) {
    return {fit.frequency_hz, fit.zero_reactance_hz, fit.q, fit.resistance_ohm};
}

// The bins of a response inside a band.
dsp::Response inside(const dsp::Response& response, const dsp::Band& band) {
    const auto& f = response.frequency_hz;
    const auto first = std::lower_bound(f.begin(), f.end(), band.low_hz) - f.begin();
    const auto last = std::upper_bound(f.begin(), f.end(), band.high_hz) - f.begin();
    dsp::Response out;
    out.sample_rate_hz = response.sample_rate_hz;
    const auto cut = [&](const auto& from, auto& into) { into.assign(from.begin() + first, from.begin() + last); };
    cut(response.frequency_hz, out.frequency_hz);
    cut(response.ratio, out.ratio);
    cut(response.variance, out.variance);
    return out;
}

// Two coupled circuits resonate on either side of what each would do alone (the eigenvalues of the coupled pair enclose
// both uncoupled ones; Cauchy's interlacing, from memory), each the farther from its own the larger the other's share:
// height over Q. The other's Q may be a third. Half of the distance at most, all of it within two standard
// uncertainties; Q and resistance are shared out likewise.
std::optional<BudgetLine> pulled_by(const std::vector<dsp::Peak>& others, bench::Hookup hookup, double frequency_hz,
                                    double height, double q, double resistance_ohm) {
    constexpr double kBroader = 3;
    BudgetLine line{"further peaks", 0, 0, 0};
    for (const dsp::Peak& p : others) {
        if (is_overtone(hookup, p.frequency_hz, frequency_hz)) continue;
        const double share = std::min(0.5, kBroader * p.height / (p.height + height));
        line.frequency_u_hz = std::hypot(line.frequency_u_hz, share * (p.frequency_hz - frequency_hz));
        line.q_u = std::hypot(line.q_u, share * q);
        line.resistance_u_ohm = std::hypot(line.resistance_u_ohm, share * resistance_ohm);
    }
    if (line.frequency_u_hz == 0) return std::nullopt;
    return line;
}

}  // namespace

bool is_overtone(bench::Hookup hookup, double other_hz, double resonance_hz) {
    return hookup == bench::Hookup::foot && other_hz > 2 * resonance_hz;
}

dsp::FitOptions fit_options(bench::Hookup hookup) {
    dsp::FitOptions options;
    // A tank loses in its conductor, in series with the inductance: only then is the fitted frequency the undamped one.
    options.series_loss = hookup == bench::Hookup::tank;
    options.fundamental = hookup == bench::Hookup::foot;
    return options;
}

InBandOutcome find_in_band(const dsp::CorrectedResponse& data, const dsp::Response& coil,
                           const dsp::Standards& standards, const dsp::BenchValues& bench,
                           const BenchTolerances& tolerances, bench::Hookup hookup,
                           std::optional<double> clock_drift_ppm) {
    const dsp::ResonanceForm form = form_of(hookup);
    const dsp::FitOptions options = fit_options(hookup);
    dsp::FitOutcome outcome = dsp::fit_resonance(data, form, options);
    if (auto* none = std::get_if<dsp::NoFit>(&outcome)) return std::move(*none);
    const dsp::ResonanceFit& fit = std::get<dsp::ResonanceFit>(outcome);

    Resonance found;
    found.way = Way::in_band;
    found.frequency_hz = frequency_of(fit, hookup);
    found.q = fit.q;
    found.resistance_ohm = fit.resistance_ohm;
    found.chi_square = fit.chi_square;
    found.degrees_of_freedom = fit.degrees_of_freedom;
    found.fit_window = fit.window;
    found.misfit = fit.misfit;
    // Ripples of a capture's own making stay below that; another circuit that matters does not. Without a known period
    // a coil that moves makes small peaks beside its own.
    const double notable = coil.way == dsp::ResponseWay::whole_periods ? 0.002 : 0.02;
    const double height = form == dsp::ResonanceForm::series ? 1 / fit.resistance_ohm : fit.resistance_ohm;
    std::vector<dsp::Peak> others;
    std::copy_if(fit.other_peaks.begin(), fit.other_peaks.end(), std::back_inserter(others),
                 [&](const dsp::Peak& p) { return p.height >= notable * height; });
    for (const dsp::Peak& p : others) found.other_peaks_hz.push_back(p.frequency_hz);
    if (fit.half_power_q) found.cross_checks.push_back({"half-power width", *fit.half_power_q});
    if (fit.phase_slope_q) found.cross_checks.push_back({"phase slope", *fit.phase_slope_q});
    if (fit.ringdown_q) found.cross_checks.push_back({"ring-down", *fit.ringdown_q});

    const double misfit = fit.degrees_of_freedom > 0
                              ? std::sqrt(std::max(1.0, fit.chi_square / static_cast<double>(fit.degrees_of_freedom)))
                              : 1.0;
    found.budget.push_back(
        {"noise", frequency_u_of(fit, hookup) * misfit, fit.q_u * misfit, fit.resistance_u_ohm * misfit});

    // Resistance that rises with frequency turns the resonance circle; where that is too weak to be seen it still bends
    // Q by up to 0.6/Q^2 of itself (largest seen on simulated distributed coils with flat and skin-effect loss).
    found.budget.push_back({"form of the loss", 0, 0.6 / fit.q / std::sqrt(3.0), 0});

    // The top of the resonance and its flanks come at other levels, and the coil at another time than the standards.
    const double steadiness = kInputSteadiness / std::sqrt(3.0);
    found.budget.push_back({"steadiness of the inputs", 0, steadiness * fit.q, steadiness * fit.resistance_ohm});

    // Taken as coherent, a misfit moves the top by as much of half the bandwidth, and Q by as much of itself. Without
    // the open standard it is the cable that bends the curve, which has its own line.
    if (fit.misfit > notable_misfit && data.used_open) {
        const double resistance_u_ohm = fit.misfit * fit.resistance_ohm;
        found.budget.push_back(
            {"form of the curve", fit.misfit * found.frequency_hz / (2 * fit.q), fit.misfit * fit.q, resistance_u_ohm});
    }

    if (auto line = pulled_by(others, hookup, found.frequency_hz, height, fit.q, fit.resistance_ohm)) {
        found.budget.push_back(std::move(*line));
    }

    const double rectangular = 1 / std::sqrt(3.0);
    found.budget.push_back({"clock", found.frequency_hz * tolerances.clock_ppm * 1e-6 * rectangular, 0, 0});
    if (clock_drift_ppm && std::abs(*clock_drift_ppm) >= notable_drift_ppm) {
        // Player and recorder disagree and nothing says which of them is right.
        const double limit = std::abs(*clock_drift_ppm) * 1e-6;
        found.budget.push_back({"clock drift", found.frequency_hz * limit * rectangular, 0, 0});
    }

    // Each declared value is moved and the resonance fitted again in the window it was found in; what differs from the
    // same fit of the data as they are is that value's share.
    const dsp::Response near = inside(coil, fit.window);
    const auto values_with =
        [&](const std::function<void(BenchCaptures&)>& move) -> std::optional<dsp::ResonanceValues> {
        BenchCaptures moved{near, standards, bench};
        move(moved);
        const auto corrected = dsp::correct(moved.coil, moved.standards, moved.values);
        if (!corrected) return std::nullopt;
        return dsp::refit_resonance(*corrected, fit, options);
    };
    const auto as_they_are = values_with([](BenchCaptures&) {});
    for (const DeclaredValue& p : declared_values(standards, tolerances)) {
        auto base = as_they_are;
        auto other = as_they_are ? values_with(p.move) : std::nullopt;
        if (!other) {
            // Moved too far for that: everything anew.
            BenchCaptures moved{coil, standards, bench};
            p.move(moved);
            const auto corrected = dsp::correct(moved.coil, moved.standards, moved.values);
            if (!corrected) continue;
            const dsp::FitOutcome again = dsp::fit_resonance(*corrected, form, options);
            if (const auto* whole = std::get_if<dsp::ResonanceFit>(&again)) {
                other = values_of(*whole);
                base = values_of(fit);
            }
        }
        if (!other) {
            // The result hangs on this value: without a fit at its limit the effect is not known, and an unknown is not
            // a small one.
            return dsp::NoFit{
                dsp::NoFit::Reason::does_not_describe,
                std::string("the resonance is no longer found when the ") + p.source +
                    " moves within its tolerance; measure the standards (open, short, load) and analyse again"};
        }
        found.budget.push_back({p.source, std::abs(frequency_of(*other, hookup) - frequency_of(*base, hookup)),
                                std::abs(other->q - base->q), std::abs(other->resistance_ohm - base->resistance_ohm)});
    }

    double f2 = 0, q2 = 0, r2 = 0;
    for (const BudgetLine& line : found.budget) {
        f2 += line.frequency_u_hz * line.frequency_u_hz;
        q2 += line.q_u * line.q_u;
        r2 += line.resistance_u_ohm * line.resistance_u_ohm;
    }
    found.frequency_u95_hz = 2 * std::sqrt(f2);
    found.q_u95 = 2 * std::sqrt(q2);
    found.resistance_u95_ohm = 2 * std::sqrt(r2);
    return found;
}

}  // namespace coldtune::measure
