#include "analyzer/measure/analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/analysis_context.hpp"
#include "analyzer/measure/below_band.hpp"
#include "analyzer/measure/below_band_strain.hpp"
#include "analyzer/measure/curve_findings.hpp"
#include "analyzer/measure/declared_bench.hpp"
#include "analyzer/measure/description_check.hpp"
#include "analyzer/measure/evidence.hpp"
#include "analyzer/measure/free_head.hpp"
#include "analyzer/measure/held_captures.hpp"
#include "analyzer/measure/in_band.hpp"
#include "analyzer/measure/pair.hpp"
#include "analyzer/measure/pair_parting.hpp"
#include "analyzer/measure/pickup.hpp"
#include "analyzer/measure/standard_check.hpp"
#include "analyzer/measure/steadiness.hpp"
#include "analyzer/measure/tank_value.hpp"
#include "analyzer/measure/winding.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/capture_health.hpp"
#include "dsp/period_shift.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {
namespace {

Curve curve_of(const dsp::CorrectedResponse& corrected) {
    Curve curve;
    curve.frequency_hz = corrected.frequency_hz;
    curve.impedance_ohm = corrected.impedance;
    curve.standard_deviation_ohm.reserve(corrected.impedance_variance.size());
    for (double v : corrected.impedance_variance) curve.standard_deviation_ohm.push_back(std::sqrt(v));
    return curve;
}

// Times the band's edge: beyond, a calculation that is off by its worst still puts the resonance outside.
constexpr double kFarAbove = 1.5;

// Inductance and resistance, and with a second capture the coupling; findings where there are none.
void judge_winding(const AnalysisRequest& request, const dsp::Response& response,
                   const dsp::CorrectedResponse& corrected, const dsp::Standards& standards,
                   MeasurementResult& result) {
    Accepted accepted;
    accepted.winding = find_winding(corrected, response, standards, request.bench, request.tolerances);
    if (!accepted.winding) {
        result.findings.push_back(
            {FindingCode::no_coil, Weight::reject,
             "no inductance is seen at the foot; tie the head to the return with a short lead, check the clip on the "
             "foot, and use a reference resistor near the winding's reactance (1k to 10k)"});
        return;
    }
    if (request.shorted) {
        const auto shorted = standard_response(*request.shorted, request, "shorted-primary", result.findings);
        if (result.verdict() == Verdict::rejected) return;
        auto coupling =
            find_coupling(response, *shorted, standards, request.bench, request.tolerances, request.description);
        if (auto* why = std::get_if<std::string>(&coupling)) {
            result.findings.push_back({FindingCode::no_coil, Weight::reject, std::move(*why)});
            return;
        }
        accepted.coupling = std::get<Coupling>(coupling);
        result.findings.push_back(
            {FindingCode::uncorrected, Weight::note,
             fmt::format("the lead that shorts the primary is taken as {}, plus or minus {}: keep it short and thick, "
                         "for a longer one makes k too small and nothing in the captures shows it",
                         record::format_quantity(kShortingLead_h, record::Unit::henry, 2),
                         record::format_quantity(kShortingLeadLimit_h, record::Unit::henry, 2))});
    }
    result.outcome = std::move(accepted);
}

void judge_against_description(const Resonance& resonance, MeasurementResult& result) {
    if (result.calculated_tank) {
        if (auto other = judge_tank_description(resonance, *result.calculated_tank)) {
            result.findings.push_back(std::move(*other));
        }
    }
    if (!result.calculated) return;
    for (Finding& f : judge_description(result.hookup, resonance, *result.calculated)) {
        result.findings.push_back(std::move(f));
    }
}

// The capture was made of whole periods, long enough to show them, and shows none.
std::optional<Finding> judge_lost_period(const AnalysisRequest& request) {
    const auto& note = request.coil.note;
    if (request.period_frames || !note || note->period_frames == 0) return std::nullopt;
    if (request.coil.capture.frames() < 3 * note->period_frames) return std::nullopt;
    return Finding{FindingCode::rate_mismatch, Weight::reject,
                   fmt::format("the sweep was made of periods of {} frames, but the recording does not repeat so: what "
                               "played and what recorded ran at different rates, or frames were lost or inserted; use "
                               "one interface at one rate, close other programs and sweep again",
                               note->period_frames)};
}

// Whether the resonance held still. A record taken as one has no periods to compare; averaged spectra of its quarters
// show the same, as far as more than one of them holds the resonance. Where none does, nobody can know, which is said.
void judge_parts(const AnalysisRequest& request, const dsp::Response& response, Resonance& resonance,
                 std::vector<Finding>& findings) {
    if (response.way != dsp::ResponseWay::whole_record) return judge_steadiness(response, resonance, findings);
    dsp::BroadbandOptions options;
    options.band = dsp::Band{response.frequency_hz.front(), response.frequency_hz.back()};
    options.averaged = options.keep_periods = true;
    const auto parts = dsp::broadband_response(request.coil.capture, options);
    if (parts) judge_steadiness(*parts, resonance, findings);
    if (parts && dsp::period_shift(*parts, resonance.fit_window)) return;
    findings.push_back({FindingCode::nonlinear, Weight::note,
                        "each frequency was heard once, so that a coil that moved meanwhile would not show: take a "
                        "second capture and compare, or sweep with whole periods"});
}

// Both circuits at once, from the two peaks of the foot with the tank closed.
Status judge_pair(const AnalysisRequest& request, const dsp::Response& response,
                  const dsp::CorrectedResponse& corrected, const dsp::Standards& standards, MeasurementResult& result) {
    PairShape shape = usual_shape();
    std::optional<model::TwoModes> modes;
    if (request.description && request.description->primary && request.description->tank) {
        const auto calculated = model::make_coupled_pair(*request.description);
        if (!calculated) return calculated.error();
        modes = calculated->two_modes();
        shape = shape_of(*modes);
    }
    const auto found = [&] {
        return find_pair(corrected, response, standards, request.bench, request.tolerances, shape,
                         response.clock_drift_ppm);
    };
    PairOutcome outcome = found();
    if (auto* pair = std::get_if<Pair>(&outcome); pair != nullptr && modes) {
        const PairParting parting = parting_of(*pair, *modes);
        if (auto finding = judge_parting(parting)) result.findings.push_back(std::move(*finding));
        if (widen(shape, parting)) outcome = found();
    }
    if (auto* why = std::get_if<std::string>(&outcome)) {
        result.findings.push_back({FindingCode::no_resonance, Weight::reject, std::move(*why)});
        return Done{};
    }
    add_uncorrected(result.findings, corrected);
    if (!shape.described) {
        result.findings.push_back(
            {FindingCode::several_peaks, Weight::note,
             "two coupled circuits as asked for; without primary and tank in the coil's description (--coil) a usual "
             "form of the current is taken, which widens the intervals"});
    }
    Accepted accepted;
    accepted.pair = std::move(std::get<Pair>(outcome));
    result.outcome = std::move(accepted);
    return Done{};
}

// The wire near the head has no impedance to correct: the ratio itself is evaluated.
Status judge_pickup(const AnalysisRequest& request, const dsp::Response& response, AnalysisContext& context,
                    MeasurementResult& result) {
    if (result.verdict() == Verdict::rejected) return Done{};
    for (Finding& f : judge_wiring(response, {})) result.findings.push_back(std::move(f));
    if (result.verdict() == Verdict::rejected) return Done{};
    if (request.open || request.short_circuit || request.load) {
        result.findings.push_back({FindingCode::uncorrected, Weight::note,
                                   "the standards take no part in this hookup: what they correct at the foot does not "
                                   "reach the wire; leave them out"});
    }
    const auto family = context.family(request.description);
    if (!family) return family.error();
    PickupOutcome outcome = find_pickup(response, request.bench, request.tolerances, result.usable_band_hz, *family);
    if (auto* finding = std::get_if<Finding>(&outcome)) {
        result.findings.push_back(std::move(*finding));
        return Done{};
    }
    Resonance resonance = std::get<Resonance>(std::move(outcome));
    add_other_peaks(result.findings, request.hookup, resonance);
    result.reason_for_way = resonance.way == Way::in_band
                                ? "the resonance lies inside the usable band; its Q is loaded by the reference resistor"
                                : "what the wire hears rises toward the upper edge of the usable band";
    judge_parts(request, response, resonance, result.findings);
    if (result.verdict() == Verdict::rejected) return Done{};
    judge_against_description(resonance, result);
    result.outcome = Accepted{std::move(resonance)};
    return Done{};
}

// No peak in the band: where the curve or the description says that it lies above, it is sought from the curve below.
Status judge_no_peak(const AnalysisRequest& request, const dsp::NoFit& none, const dsp::Response& response,
                     const dsp::CorrectedResponse& corrected, AnalysisContext& context, MeasurementResult& result) {
    std::vector<Finding> why = judge_no_fit(none, corrected, request.bench, request.hookup);
    const bool rises = why.front().code == FindingCode::outside_band;
    // Far above the band the curve hardly rises in it: then the description tells that there is nothing to see.
    const bool described_above = result.calculated && result.usable_band_hz &&
                                 why.front().code == FindingCode::no_resonance &&
                                 result.calculated->frequency_hz > kFarAbove * result.usable_band_hz->high_hz;
    if (request.hookup != bench::Hookup::foot || !(rises || described_above)) {
        for (Finding& f : why) result.findings.push_back(std::move(f));
        return Done{};
    }
    if (!request.description) {
        why.front().text += ". With the coil's description (--coil) the resonance may be found from the curve below it";
        result.findings.push_back(std::move(why.front()));
        return Done{};
    }
    const auto family = context.family(request.description);
    if (!family) return family.error();
    BelowBandOutcome below =
        find_below_band(corrected, **family, request.bench, request.tolerances, result.usable_band_hz);
    if (const auto* refusal = std::get_if<BelowBandRefusal>(&below)) {
        result.findings.push_back({FindingCode::outside_band, Weight::reject, refusal->sentence});
        return Done{};
    }
    add_uncorrected(result.findings, corrected);
    add_without_open(result.findings, corrected);
    result.reason_for_way =
        rises ? "no resonance inside the usable band, and the coil's curve rises toward its upper edge"
              : "no resonance inside the usable band, and the described coil resonates far above it";
    auto& fit = std::get<BelowBandFit>(below);
    const auto strained = judge_strain(fit);
    if (strained) {
        const bool hopeless = strained->weight == Weight::reject;
        result.findings.push_back(*strained);
        if (hopeless) return Done{};
    }
    result.fitted = std::move(fit.fitted);
    judge_parts(request, response, fit.resonance, result.findings);
    if (!strained) judge_against_description(fit.resonance, result);  // said once
    result.outcome = Accepted{std::move(fit.resonance)};
    return Done{};
}

}  // namespace

Result<MeasurementResult> analyze(const AnalysisRequest& request) {
    auto context = prepare(request);
    if (!context) return context.error();
    return analyze_prepared(request, *context);
}

Result<MeasurementResult> analyze_prepared(const AnalysisRequest& request, AnalysisContext& context) {
    if (request.shorted && request.hookup != bench::Hookup::winding) {
        return usage_error("a capture with the primary shorted belongs to the winding hookup");
    }
    if (request.coupled && request.hookup != bench::Hookup::foot) {
        return usage_error("two coupled circuits (--coupled) are measured at the foot of the secondary: hookup foot");
    }
    MeasurementResult result;
    result.hookup = request.hookup;
    result.sample_rate_hz = request.coil.capture.sample_rate_hz;
    result.outcome = Rejected{};
    result.calculated = context.calculated;
    result.calculated_tank = context.calculated_tank;
    result.bench.reference_ohm = request.bench.reference_ohm;
    if (const auto& note = request.coil.note) {
        result.bench.device = note->device;
        result.bench.time_utc = note->time_utc;
        if (note->reference_ohm > 0) result.bench.noted_reference_ohm = note->reference_ohm;
        // A measured 9.93k in the place of 10k is the same resistor.
        constexpr double kSameResistor = 0.05;
        if (note->reference_ohm > 0 &&
            std::abs(request.bench.reference_ohm / note->reference_ohm - 1) > kSameResistor) {
            result.findings.push_back(
                {FindingCode::correction_stale, Weight::caution,
                 fmt::format("the capture was recorded with a reference of {}, not {}: resistance, inductance and what "
                             "rests on them are off by as much; give the resistor that was in place",
                             record::format_quantity(note->reference_ohm, record::Unit::ohm),
                             record::format_quantity(request.bench.reference_ohm, record::Unit::ohm))});
        }
    }
    result.description = request.description;
    if (request.coil.channels > 2) {
        result.findings.push_back(
            {FindingCode::unreadable, Weight::note,
             fmt::format("the file holds {} channels: 1 was taken as the generator side, 2 as the "
                         "coil side, the others were left alone",
                         request.coil.channels)});
    }
    for (Finding& f : judge_held_captures(request)) result.findings.push_back(std::move(f));
    if (result.verdict() == Verdict::rejected) return result;
    const std::size_t period = known_period(request.coil, request.period_frames);
    auto response = response_of(
        request.coil, period, request.settled ? 0 : settle_of(request.coil, request.settle_periods), !request.settled);
    const dsp::CaptureHealth health = dsp::examine(request.coil.capture, period, response.ok() ? &*response : nullptr);
    for (Finding& f : judge_signal(health, response.ok() ? &*response : nullptr, request.hookup))
        result.findings.push_back(std::move(f));
    if (period == 0 && result.verdict() != Verdict::rejected) {
        if (auto other = judge_lost_period(request)) result.findings.push_back(std::move(*other));
    }
    if (!response) {
        // A silent or broken capture is a finding about the bench; a request that does not fit the capture is an error.
        if (verdict_of(result.findings) == Verdict::rejected) return result;
        Error error = response.error();
        if (!request.coil_name.empty()) error.message = request.coil_name + ": " + error.message;
        return error;
    }
    result.averages = response->averages;
    result.clock_drift_ppm = response->clock_drift_ppm;
    result.usable_band_hz = dsp::usable_band(*response);

    if (!bench::seeks_resonance(request.hookup)) {
        if (result.verdict() != Verdict::rejected && !from_one_input(request.coil)) {
            if (auto other = judge_standard(request.hookup, *response, request.bench)) {
                result.findings.push_back(std::move(*other));
            }
        }
        if (result.verdict() != Verdict::rejected) result.outcome = Accepted{};
        return result;
    }

    if (request.hookup == bench::Hookup::pickup) {
        if (Status judged = judge_pickup(request, *response, context, result); !judged) return judged.error();
        return result;
    }

    // With one input there is nothing to swap, and the ratio's size means nothing.
    const dsp::Response no_ratios;
    const dsp::Response& ratios = from_one_input(request.coil) ? no_ratios : *response;
    // Before the standards, which say less clearly what is wrong when they were taken with the inputs swapped as well.
    const double gain = context.standards.open ? gain_of(*context.standards.open) : 1;
    for (Finding& f : judge_wiring(ratios, {}, gain)) result.findings.push_back(std::move(f));
    if (result.verdict() == Verdict::rejected) return result;
    if (auto other = judge_gain(gain, context.standards.load.has_value())) {
        result.findings.push_back(std::move(*other));
    }
    result.findings.insert(result.findings.end(), context.findings.begin(), context.findings.end());
    if (result.verdict() == Verdict::rejected) return result;
    const dsp::Standards& standards = context.standards;
    auto corrected = dsp::correct(*response, standards, request.bench);
    if (!corrected) return corrected.error();
    result.curve = curve_of(*corrected);

    for (Finding& f : judge_wiring(ratios, *corrected, gain)) result.findings.push_back(std::move(f));
    if (result.verdict() == Verdict::rejected) return result;
    if (auto other = judge_bench(standards, request.bench, request.tolerances, from_one_input(request.coil))) {
        result.findings.push_back(std::move(*other));
        if (result.verdict() == Verdict::rejected) return result;
    }
    if (request.hookup == bench::Hookup::foot) {
        if (auto tied = judge_free_head(*corrected)) {
            result.findings.push_back(std::move(*tied));
            return result;
        }
    }
    if (unphysical_after_open(*corrected)) {
        result.findings.push_back(
            {FindingCode::correction_stale, Weight::reject,
             "after correction the coil would generate power: the standards no longer describe this bench; measure "
             "open, short and load again with the leads as they lie now"});
        return result;
    }

    if (request.hookup == bench::Hookup::winding) {
        add_uncorrected(result.findings, *corrected);
        judge_winding(request, *response, *corrected, standards, result);
        return result;
    }

    if (request.coupled) {
        if (Status judged = judge_pair(request, *response, *corrected, standards, result); !judged) {
            return judged.error();
        }
        return result;
    }

    InBandOutcome found = find_in_band(*corrected, *response, standards, request.bench, request.tolerances,
                                       request.hookup, response->clock_drift_ppm);
    if (const auto* none = std::get_if<dsp::NoFit>(&found)) {
        if (Status judged = judge_no_peak(request, *none, *response, *corrected, context, result); !judged) {
            return judged.error();
        }
        return result;
    }
    Resonance resonance = std::move(std::get<Resonance>(found));
    judge_parts(request, *response, resonance, result.findings);
    if (result.verdict() == Verdict::rejected) return result;
    judge_against_description(resonance, result);
    add_uncorrected(result.findings, *corrected);
    add_other_peaks(result.findings, request.hookup, resonance);
    add_misfit(result.findings, resonance);
    result.reason_for_way = "the resonance lies inside the usable band";
    Accepted accepted;
    if (result.calculated_tank) accepted.tank = tank_value(resonance, *result.calculated_tank);
    accepted.resonance = std::move(resonance);
    result.outcome = std::move(accepted);
    return result;
}

}  // namespace coldtune::measure
