// The loading series: known capacitors bring the resonance into the band, and how far each of them pulls it tells L,
// own capacitance and where it lies unloaded.
//
// bench::Hookup `foot`: each capacitor from the HEAD of the secondary to the return; the distributed model takes the
// bend out of the straight line, and the result is the unloaded first resonance. bench::Hookup `tank`: each capacitor
// across the tank capacitor; lumped, so the straight line is exact and needs no description.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "analyzer/measure/analysis.hpp"
#include "analyzer/measure/series_fit.hpp"

namespace coldtune::measure {

// What the capacitor's leads may add, plus/minus, rectangular (common practice, no source: ten to twenty centimetres of
// thin lead and a clip hanging free of the winding, or the remainder of a longer one that was measured and added to the
// value). Every point has it alike, so that nothing in the series tells it from the coil's own capacitance.
inline constexpr double kDefaultLeadLimit_f = 2e-12;
// Of the leads of a capacitor across a tank: ten centimetres of wire, rectangular (common practice, no source).
inline constexpr double kTankLeadLimit_h = 0.1e-6;

// ---- from resonances to values

struct SeriesInput {
    bench::Hookup hookup = bench::Hookup::foot;  // foot or tank
    std::vector<SeriesPoint> points;
    std::vector<std::string> names;     // how messages call each point, e.g. "100 pF"
    std::vector<SharedEffect> effects;  // of the bench; those of the capacitors and their leads are added here
    double lead_limit_f = kDefaultLeadLimit_f;
};

struct SeriesJudgement {
    // Empty when rejected. `model` only for the foot; `value()` is what the series says.
    std::optional<SeriesEstimate> straight_line, model;
    std::vector<Finding> findings;
    [[nodiscard]] const SeriesEstimate& value() const { return model ? *model : *straight_line; }
};

// Points that contradict each other are rejected with the odd one named. Two tests, each by chi square over all
// misfits: the points among themselves (three or more; rejected below 1 % chance, a caution below 5 %), and what
// holding to the described L and C adds to the misfit (below 1 % a caution, and with three points or more they are not
// held to; two points alone cannot contradict each other, so below 0.1 % those are rejected). The inductance is held
// against the described one besides: a caution beyond its interval and twice the described one, rejected beyond half
// and twice, where a prefix of the capacitors slipped. The code is `nonlinear`, as for a response that changes during a
// sweep: what was measured is not one and the same circuit. `curve` and `prior`: of the described coil; null for a
// tank. Precondition: points and names of one length, at least two capacitances that differ.
SeriesJudgement judge_series(const SeriesInput& input, const LoadingCurve* curve, const SeriesPrior& prior);

// ---- from captures to values

struct LoadingPoint {
    double capacitance_f = 0;  // as printed; 0 = none connected
    double limit_f = 0;
    audio::CaptureFile capture;
    std::string file;  // how messages call it
};

struct LoadingRequest {
    AnalysisRequest bench;  // everything but the coil's capture; hookup foot or tank; foot needs the description
    std::vector<LoadingPoint> points;
    double lead_limit_f = kDefaultLeadLimit_f;
};

struct LoadingPointResult {
    double capacitance_f = 0, limit_f = 0;
    std::string file;
    std::optional<Resonance> resonance;  // empty everywhere when the series is rejected
};

struct LoadingResult {
    MeasurementResult result;  // way loading-series
    std::vector<LoadingPointResult> points;
    std::optional<SeriesEstimate> straight_line, model;  // empty when rejected
};

// Never fails for what the captures hold: that is a rejected result with findings that name the point. Errors (usage):
// fewer than two points, a capacitance twice or out of range, a hookup that has no loading series, a foot without
// description; (bad_input): what analyze() refuses.
Result<LoadingResult> analyze_loading(LoadingRequest request);

}  // namespace coldtune::measure
