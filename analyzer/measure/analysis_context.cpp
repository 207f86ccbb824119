#include "analyzer/measure/analysis_context.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analyzer/measure/evidence.hpp"
#include "analyzer/measure/held_captures.hpp"
#include "analyzer/measure/standard_check.hpp"
#include "analyzer/record/quantity.hpp"
#include "dsp/capture_health.hpp"
#include "dsp/response.hpp"

namespace coldtune::measure {
namespace {

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

}  // namespace

std::size_t known_period(const audio::CaptureFile& file, const std::optional<std::size_t>& stated) {
    if (stated) return *stated;
    if (file.note && file.note->period_frames > 0 && dsp::repeats_with_period(file.capture, file.note->period_frames)) {
        return file.note->period_frames;
    }
    return 0;
}

Result<dsp::Response> response_of(const audio::CaptureFile& file, std::size_t period, std::size_t settle,
                                  bool keep_periods) {
    if (period == 0) {
        auto whole = dsp::broadband_response(file.capture, {});
        if (!whole) return whole;
        dsp::BroadbandOptions options;
        options.keep_periods = keep_periods;
        options.band = sounding_band(*whole);
        return dsp::broadband_response(file.capture, options);
    }
    dsp::PeriodicOptions options;
    options.period_frames = period;
    options.settle_periods = settle;
    options.keep_periods = keep_periods;
    return dsp::periodic_response(file.capture, options);
}

std::size_t settle_of(const audio::CaptureFile& file, const std::optional<std::size_t>& stated) {
    if (stated) return *stated;
    return file.note ? std::max<std::size_t>(1, file.note->settle_periods) : 1;
}

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
    const bench::Hookup hookup = bench::hookup_from_name(which).value_or(request.hookup);
    for (Finding f : judge_signal(health, &*response, hookup)) {
        if (f.weight != Weight::reject) continue;
        f.text = fmt::format("{} standard: {}", which, f.text);
        findings.push_back(std::move(f));
    }
    // A load is held against the reference resistor once the open standard is known as well (judge_bench).
    if (hookup != bench::Hookup::load && !from_one_input(file)) {
        auto other = judge_standard(hookup, *response, request.bench);
        if (other && other->weight == Weight::reject) {
            other->text = fmt::format("{} standard {}: {}", which, standard.name, other->text);
            findings.push_back(std::move(*other));
        }
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

Result<const ShapeFamily*> AnalysisContext::family(const std::optional<model::CoilDescription>& description) {
    if (!description) return static_cast<const ShapeFamily*>(nullptr);
    if (!family_) {
        auto built = ShapeFamily::build(*description);
        if (!built) return built.error();
        family_ = std::move(*built);
    }
    return &*family_;
}

Result<AnalysisContext> prepare(const AnalysisRequest& request) {
    AnalysisContext context;
    if (request.description && request.hookup == bench::Hookup::tank) {
        if (const Status possible = model::check_geometry(*request.description); !possible) return possible.error();
        context.calculated_tank = model::calculate_tank(*request.description);
    } else if (request.description) {
        auto calculated = model::calculate(*request.description);
        if (!calculated) return calculated.error();
        context.calculated = std::move(*calculated);
    }
    if (!bench::seeks_resonance(request.hookup) || request.hookup == bench::Hookup::pickup) return context;
    if (request.open) context.standards.open = standard_response(*request.open, request, "open", context.findings);
    if (request.short_circuit)
        context.standards.short_circuit = standard_response(*request.short_circuit, request, "short", context.findings);
    if (request.load) context.standards.load = standard_response(*request.load, request, "load", context.findings);
    return context;
}

}  // namespace coldtune::measure
