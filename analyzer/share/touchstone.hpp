// Touchstone one-port files: the response as other programs for radio and filters read it.
//
// Source: IBIS Open Forum, Touchstone File Format Specification, versions 1.0 (as kept in 2.1) and 2.0/2.1. What is
// easily got wrong: in version 1.0 Z and Y are divided (multiplied) by the reference resistance, in 2.0 they are not.
#pragma once

#include <span>
#include <string>
#include <string_view>

#include "analyzer/measure/result.hpp"
#include "dsp/result.hpp"

namespace coldtune::share {

enum class TouchstoneVersion { v1_0, v2_0 };
enum class NetworkParameter { scattering, impedance };

struct TouchstoneOptions {
    TouchstoneVersion version = TouchstoneVersion::v1_0;
    NetworkParameter parameter = NetworkParameter::scattering;
    double reference_ohm = 50;  // > 0
};

// The whole file: comment lines, option line in Hz and RI, one point a line with the shortest digits that read back to
// the same double, whatever the locale. Points are put in ascending order; those that are not finite are left out and
// counted in a comment. Errors (bad_input): no point left, two at one frequency, a reference that is not positive.
Result<std::string> touchstone_text(const measure::Curve& curve, const TouchstoneOptions& options,
                                    std::span<const std::string> comments);

// A one-port file of version 1.0, 1.1, 2.0 or 2.1: S, Z or Y; MA, DB or RI; any unit of frequency. No standard
// deviations. A point at 0 Hz and points whose impedance is infinite are passed over. Errors (bad_input, one line):
// "ORIGIN: line 7: ...".
Result<measure::Curve> parse_touchstone(std::string_view text, std::string_view origin);

}  // namespace coldtune::share
