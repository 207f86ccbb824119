// Where an exported file comes from, as its first comment lines say it.
#pragma once

#include <string>
#include <vector>

#include "analyzer/measure/result.hpp"

namespace coldtune::share {

struct Provenance {
    std::string program;  // "coldtune 0.1.0"
    std::string written;  // "2026-11-27T14:05:00Z"
    std::string source;   // the file it was made from, as the user named it
};

// This program, now (UTC). SOURCE_DATE_EPOCH (reproducible-builds.org) takes the place of the clock where it is set.
Provenance provenance_of(std::string source);

// Seconds since 1970 as "2026-11-27T14:05:00Z" (ISO 8601).
std::string utc_text(long long seconds);

// What, when and by what, one fact a line, printable ASCII only: hookup, verdict and findings, the resonance and its
// interval where there is one.
std::vector<std::string> comment_lines(const measure::MeasurementResult& result, const Provenance& provenance);

// `text` with everything but printable ASCII replaced by '?'.
std::string ascii_line(std::string_view text);

// Whether the curve of a result is an impedance that was there on the bench. A rejection for what the resonance does
// (outside the band, none, several) leaves the curve sound; one for clipping, hum, swapped inputs and the like does
// not.
bool curve_is_sound(const measure::MeasurementResult& result);

}  // namespace coldtune::share
