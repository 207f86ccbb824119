#include "analyzer/measure/finding.hpp"

#include <algorithm>
#include <array>

namespace coldtune::measure {
namespace {

constexpr std::array<FindingCode, 16> kCodes = {
    FindingCode::clipped,        FindingCode::dropout,          FindingCode::too_quiet,     FindingCode::hum,
    FindingCode::clock_drift,    FindingCode::nonlinear,        FindingCode::no_coil,       FindingCode::shorted,
    FindingCode::inputs_swapped, FindingCode::outside_band,     FindingCode::no_resonance,  FindingCode::several_peaks,
    FindingCode::uncorrected,    FindingCode::correction_stale, FindingCode::rate_mismatch, FindingCode::unreadable,
};

}  // namespace

std::span<const FindingCode> all_finding_codes() {
    return kCodes;
}

std::string_view code_name(FindingCode code) {
    switch (code) {
        case FindingCode::clipped:
            return "clipped";
        case FindingCode::dropout:
            return "dropout";
        case FindingCode::too_quiet:
            return "too-quiet";
        case FindingCode::hum:
            return "hum";
        case FindingCode::clock_drift:
            return "clock-drift";
        case FindingCode::nonlinear:
            return "nonlinear";
        case FindingCode::no_coil:
            return "no-coil";
        case FindingCode::shorted:
            return "shorted";
        case FindingCode::inputs_swapped:
            return "inputs-swapped";
        case FindingCode::outside_band:
            return "outside-band";
        case FindingCode::no_resonance:
            return "no-resonance";
        case FindingCode::several_peaks:
            return "several-peaks";
        case FindingCode::uncorrected:
            return "uncorrected";
        case FindingCode::correction_stale:
            return "correction-stale";
        case FindingCode::rate_mismatch:
            return "rate-mismatch";
        case FindingCode::unreadable:
            return "unreadable";
    }
    return "unreadable";
}

std::string_view verdict_name(Verdict verdict) {
    switch (verdict) {
        case Verdict::good:
            return "good";
        case Verdict::caution:
            return "caution";
        case Verdict::rejected:
            return "rejected";
    }
    return "rejected";
}

Verdict verdict_of(const std::vector<Finding>& findings) {
    const auto has = [&](Weight w) {
        return std::any_of(findings.begin(), findings.end(), [&](const Finding& f) { return f.weight == w; });
    };
    if (has(Weight::reject)) return Verdict::rejected;
    if (has(Weight::caution)) return Verdict::caution;
    return Verdict::good;
}

}  // namespace coldtune::measure
