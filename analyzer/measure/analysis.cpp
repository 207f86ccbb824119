#include "analyzer/measure/analysis.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/below_band.hpp"
#include "analyzer/measure/evidence.hpp"
#include "analyzer/measure/in_band.hpp"
#include "analyzer/measure/pair.hpp"
#include "analyzer/measure/pickup.hpp"
#include "analyzer/measure/winding.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/capture_health.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {
namespace {

// The period to believe: the stated one, else the file's own note when the signal bears it out.
std::size_t known_period(const audio::CaptureFile& file, const std::optional<std::size_t>& stated) {
    if (stated) return *stated;
    if (file.note && file.note->period_frames > 0 && dsp::repeats_with_period(file.capture, file.note->period_frames)) {
        return file.note->period_frames;
    }
    return 0;
}

// Where an excitation without a known period really sounds: within 40 dB of its strong part. Beyond that, leakage and
// noise make peaks that are none.
dsp::Band sounding_band(const dsp::Response& response) {
    std::vector<double> sorted = response.generator_amplitude;
    const auto strong = sorted.begin() + static_cast<std::ptrdiff_t>(sorted.size() * 9 / 10);
    std::nth_element(sorted.begin(), strong, sorted.end());
    std::size_t first = 0, last = response.frequency_hz.size() - 1;
    while (first < last && response.generator_amplitude[first] < 0.01 * *strong) ++first;
    while (last > first && response.generator_amplitude[last] < 0.01 * *strong) --last;
    return {response.frequency_hz[first], response.frequency_hz[last]};
}

Result<dsp::Response> response_of(const audio::CaptureFile& file, std::size_t period, std::size_t settle) {
    if (period == 0) {
        auto whole = dsp::broadband_response(file.capture, {});
        if (!whole) return whole;
        dsp::BroadbandOptions options;
        options.band = sounding_band(*whole);
        return dsp::broadband_response(file.capture, options);
    }
    dsp::PeriodicOptions options;
    options.period_frames = period;
    options.settle_periods = settle;
    return dsp::periodic_response(file.capture, options);
}

std::size_t settle_of(const audio::CaptureFile& file, const std::optional<std::size_t>& stated) {
    if (stated) return *stated;
    return file.note ? std::max<std::size_t>(1, file.note->settle_periods) : 1;
}

// A standard's own response, or a finding that says why it cannot be used.
std::optional<dsp::Response> standard_response(const Standard& standard, const AnalysisRequest& request,
                                               const char* which, std::vector<Finding>& findings) {
    const audio::CaptureFile& file = standard.file;
    if (std::abs(file.capture.sample_rate_hz - request.coil.capture.sample_rate_hz) > 1e-6) {
        findings.push_back(
            {FindingCode::rate_mismatch, Weight::reject,
             fmt::format("{} was recorded at {:.0f} Hz but the coil at {:.0f} Hz; measure the {} standard again at "
                         "the coil's rate",
                         standard.name, file.capture.sample_rate_hz, request.coil.capture.sample_rate_hz, which)});
        return std::nullopt;
    }
    // A standard was swept as the coil was, unless its own note says otherwise.
    std::optional<std::size_t> stated = request.period_frames;
    if (file.note && file.note->period_frames > 0 && dsp::repeats_with_period(file.capture, file.note->period_frames)) {
        stated = file.note->period_frames;
    }
    const std::size_t period = known_period(file, stated);
    auto response = response_of(file, period, settle_of(file, request.settle_periods));
    if (!response) {
        findings.push_back({FindingCode::correction_stale, Weight::reject,
                            fmt::format("the {} standard {} gives no response ({}); measure it again", which,
                                        standard.name, response.error().message)});
        return std::nullopt;
    }
    const dsp::CaptureHealth health = dsp::examine(file.capture, period, &*response);
    for (Finding f : judge_signal(health, &*response)) {
        if (f.weight != Weight::reject) continue;
        f.text = fmt::format("{} standard: {}", which, f.text);
        findings.push_back(std::move(f));
    }
    if (request.coil.note && file.note) {
        const auto& a = *request.coil.note;
        const auto& b = *file.note;
        if (a.reference_ohm > 0 && b.reference_ohm > 0 && std::abs(a.reference_ohm / b.reference_ohm - 1) > 1e-6) {
            findings.push_back(
                {FindingCode::correction_stale, Weight::caution,
                 fmt::format(
                     "the {} standard was measured with a reference of {} and the coil with {}; measure it again",
                     which, record::format_quantity(b.reference_ohm, record::Unit::ohm),
                     record::format_quantity(a.reference_ohm, record::Unit::ohm))});
        } else if (!a.device.empty() && !b.device.empty() && a.device != b.device) {
            findings.push_back(
                {FindingCode::correction_stale, Weight::caution,
                 fmt::format("the {} standard was measured on '{}' and the coil on '{}'; measure it again", which,
                             b.device, a.device)});
        }
    }
    return std::move(*response);
}

// A corrected response that no passive coil can have tells that the standards no longer describe the bench.
bool unphysical_after_open(const dsp::CorrectedResponse& corrected) {
    if (!corrected.used_open) return false;
    std::size_t negative = 0, counted = 0;
    for (std::size_t k = 0; k < corrected.impedance.size(); ++k) {
        const auto y = 1.0 / corrected.impedance[k];
        const double sigma = std::sqrt(corrected.impedance_variance[k] / 2) / std::norm(corrected.impedance[k]);
        // Only bins where the conductance is not just noise; 2 % of |Y| covers gains that differ.
        const double margin = 3 * sigma + 0.02 * std::abs(y);
        ++counted;
        negative += y.real() < -margin ? 1U : 0U;
    }
    return counted > 0 && negative * 4 > counted;
}

void add_uncorrected(std::vector<Finding>& findings, const dsp::CorrectedResponse& corrected) {
    if (corrected.used_open || corrected.used_short || corrected.used_load) return;
    findings.push_back({FindingCode::uncorrected, Weight::caution,
                        "no standard was used: the declared resistor and input stand in for them; measure open (most "
                        "useful), short and "
                        "load with the same leads"});
}

Curve curve_of(const dsp::CorrectedResponse& corrected) {
    Curve curve;
    curve.frequency_hz = corrected.frequency_hz;
    curve.impedance_ohm = corrected.impedance;
    curve.standard_deviation_ohm.reserve(corrected.impedance_variance.size());
    for (double v : corrected.impedance_variance) curve.standard_deviation_ohm.push_back(std::sqrt(v));
    return curve;
}

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
        auto coupling = find_coupling(response, *shorted, standards, request.bench, request.tolerances);
        if (auto* why = std::get_if<std::string>(&coupling)) {
            result.findings.push_back({FindingCode::no_coil, Weight::reject, std::move(*why)});
            return;
        }
        accepted.coupling = std::get<Coupling>(coupling);
    }
    result.outcome = std::move(accepted);
}

void add_other_peaks(std::vector<Finding>& findings, const Resonance& resonance) {
    if (resonance.other_peaks_hz.empty()) return;
    std::string where;
    for (double f : resonance.other_peaks_hz) {
        where += (where.empty() ? "" : ", ") + record::format_quantity(f, record::Unit::hertz);
    }
    findings.push_back(
        {FindingCode::several_peaks, Weight::caution,
         fmt::format("further peaks at {}; the strongest is reported. Move other coils, the primary and metal "
                     "away, or open the primary circuit; a tank that is closed on purpose is analysed at the foot with "
                     "--coupled",
                     where)});
}

// Both circuits at once, from the two peaks of the foot with the tank closed.
Status judge_pair(const AnalysisRequest& request, const dsp::Response& response,
                  const dsp::CorrectedResponse& corrected, const dsp::Standards& standards, MeasurementResult& result) {
    PairShape shape = usual_shape();
    if (request.description && request.description->primary && request.description->tank) {
        const auto calculated = model::make_coupled_pair(*request.description);
        if (!calculated) return calculated.error();
        shape = shape_of(calculated->two_modes());
    }
    PairOutcome outcome =
        find_pair(corrected, response, standards, request.bench, request.tolerances, shape, response.clock_drift_ppm);
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
Status judge_pickup(const AnalysisRequest& request, const dsp::Response& response, MeasurementResult& result) {
    if (result.verdict() == Verdict::rejected) return Done{};
    for (Finding& f : judge_wiring(response, {})) result.findings.push_back(std::move(f));
    if (result.verdict() == Verdict::rejected) return Done{};
    if (request.open || request.short_circuit || request.load) {
        result.findings.push_back({FindingCode::uncorrected, Weight::note,
                                   "the standards take no part in this hookup: what they correct at the foot does not "
                                   "reach the wire; leave them out"});
    }
    std::optional<ShapeFamily> family;
    if (request.description) {
        auto built = ShapeFamily::build(*request.description);
        if (!built) return built.error();
        family = std::move(*built);
    }
    PickupOutcome outcome =
        find_pickup(response, request.bench, request.tolerances, result.usable_band_hz, family ? &*family : nullptr);
    if (auto* finding = std::get_if<Finding>(&outcome)) {
        result.findings.push_back(std::move(*finding));
        return Done{};
    }
    Resonance resonance = std::get<Resonance>(std::move(outcome));
    add_other_peaks(result.findings, resonance);
    result.reason_for_way = resonance.way == Way::in_band
                                ? "the resonance lies inside the usable band; its Q is loaded by the reference resistor"
                                : "what the wire hears rises toward the upper edge of the usable band";
    result.outcome = Accepted{std::move(resonance)};
    return Done{};
}

}  // namespace

Result<MeasurementResult> analyze(const AnalysisRequest& request) {
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
    // What is calculated is the secondary; a tank has nothing to do with it.
    if (request.description && request.hookup != bench::Hookup::tank) {
        auto calculated = model::calculate(*request.description);
        if (!calculated) return calculated.error();
        result.calculated = std::move(*calculated);
    }

    const std::size_t period = known_period(request.coil, request.period_frames);
    auto response = response_of(request.coil, period, settle_of(request.coil, request.settle_periods));
    const dsp::CaptureHealth health = dsp::examine(request.coil.capture, period, response.ok() ? &*response : nullptr);
    result.findings = judge_signal(health, response.ok() ? &*response : nullptr);
    if (!response) {
        // A silent or broken capture is a finding about the bench; a request that does not fit the capture is an error.
        if (verdict_of(result.findings) != Verdict::rejected) return response.error();
        return result;
    }
    result.averages = response->averages;
    result.clock_drift_ppm = response->clock_drift_ppm;
    result.usable_band_hz = dsp::usable_band(*response);

    if (!bench::seeks_resonance(request.hookup)) {
        if (result.verdict() != Verdict::rejected) result.outcome = Accepted{};
        return result;
    }

    if (request.hookup == bench::Hookup::pickup) {
        if (Status judged = judge_pickup(request, *response, result); !judged) return judged.error();
        return result;
    }

    dsp::Standards standards;
    if (request.open) standards.open = standard_response(*request.open, request, "open", result.findings);
    if (request.short_circuit)
        standards.short_circuit = standard_response(*request.short_circuit, request, "short", result.findings);
    if (request.load) standards.load = standard_response(*request.load, request, "load", result.findings);
    if (result.verdict() == Verdict::rejected) return result;

    auto corrected = dsp::correct(*response, standards, request.bench);
    if (!corrected) return corrected.error();
    result.curve = curve_of(*corrected);

    for (Finding& f : judge_wiring(*response, *corrected)) result.findings.push_back(std::move(f));
    if (result.verdict() == Verdict::rejected) return result;
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
        std::vector<Finding> why = judge_no_fit(*none, *corrected, request.bench, request.hookup);
        if (request.hookup != bench::Hookup::foot || why.front().code != FindingCode::outside_band) {
            for (Finding& f : why) result.findings.push_back(std::move(f));
            return result;
        }
        if (!request.description) {
            why.front().text +=
                ". With the coil's description (--coil) the resonance may be found from the curve below it";
            result.findings.push_back(std::move(why.front()));
            return result;
        }
        const auto family = ShapeFamily::build(*request.description);
        if (!family) return family.error();
        BelowBandOutcome below =
            find_below_band(*corrected, *family, request.bench, request.tolerances, result.usable_band_hz);
        if (const auto* refusal = std::get_if<BelowBandRefusal>(&below)) {
            result.findings.push_back({FindingCode::outside_band, Weight::reject, refusal->sentence});
            return result;
        }
        add_uncorrected(result.findings, *corrected);
        result.reason_for_way = "no resonance inside the usable band, and the coil's curve rises toward its upper edge";
        result.outcome = Accepted{std::move(std::get<BelowBandFit>(below).resonance)};
        return result;
    }
    Resonance resonance = std::move(std::get<Resonance>(found));
    add_uncorrected(result.findings, *corrected);
    add_other_peaks(result.findings, resonance);
    result.reason_for_way = "the resonance lies inside the usable band";
    result.outcome = Accepted{std::move(resonance)};
    return result;
}

}  // namespace coldtune::measure
