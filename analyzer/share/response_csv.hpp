// The response as a table for spreadsheets and scripts: comma-separated values with the units in the header.
#pragma once

#include <string>
#include <string_view>

#include "analyzer/measure/result.hpp"
#include "dsp/result.hpp"

namespace coldtune::share {

// RFC 4180 but for line ends (LF alone). Columns frequency_hz, resistance_ohm, reactance_ohm, standard_deviation_ohm
// (of the complex impedance, k = 1; empty where unknown), conductance_s, susceptance_s, impedance_ohm, phase_deg;
// ascending, shortest digits that read back to the same double, decimal points in any locale. Errors as
// touchstone_text's.
Result<std::string> csv_text(const measure::Curve& curve);

// Ours, and any table with a header that names and measures its columns: a frequency, and an impedance or admittance as
// real and imaginary part or as magnitude and phase:
//
//     frequency_hz,re_ohm,im_ohm      f / kHz; R / ohm; X / ohm      Frequency (MHz),|Z| (kohm),Phase (deg)
//
// Units: Hz kHz MHz GHz; ohm mohm kohm Mohm; S mS uS nS; deg rad. Separated by commas, or by semicolons or tabs, then
// with decimal points or decimal commas. Lines that begin with # and blank lines are passed over, columns not needed
// too. Errors (bad_input, one line): "ORIGIN: line 7: ...".
Result<measure::Curve> parse_csv(std::string_view text, std::string_view origin);

}  // namespace coldtune::share
