// What is said about a measurement besides its number.
#pragma once

#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace coldtune::measure {

// The codes are a contract (machine output and tests rely on the names given by code_name).
enum class FindingCode {
    clipped,
    dropout,
    too_quiet,
    hum,
    clock_drift,
    nonlinear,
    no_coil,
    shorted,
    inputs_swapped,
    outside_band,
    no_resonance,
    several_peaks,
    uncorrected,
    correction_stale,
    rate_mismatch,
    unreadable,
};

// note: worth knowing; caution: the number stands but look; reject: no number may be given.
enum class Weight { note, caution, reject };

struct Finding {
    FindingCode code;
    Weight weight;
    std::string text;  // one sentence on what was seen and one on what to do
};

enum class Verdict { good, caution, rejected };

std::string_view code_name(FindingCode code);
std::string_view verdict_name(Verdict verdict);
std::span<const FindingCode> all_finding_codes();

// The heaviest weight decides; no findings is good, notes alone are good.
Verdict verdict_of(const std::vector<Finding>& findings);

}  // namespace coldtune::measure
