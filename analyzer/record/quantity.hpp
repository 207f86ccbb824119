// Quantities as people write them: "10k", "4.7n", "4n7", "0.45mm", "20cm", "AWG 26", "1M", "208 kHz", "1%".
#pragma once

#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::record {

enum class Unit {
    none,
    ohm,
    farad,
    henry,
    metre,
    hertz,
    second,
    celsius,
    decibel,
    volt,
    ampere,
    ratio,
    turn,
    degree  // of a plane angle
};

// SI value of `text` for a quantity of this unit (degrees Celsius, decibels and degrees of angle stay as they are).
//
//   none, ohm, farad, henry, hertz,   a number, an SI prefix p n u m k M G (also K; u as u, U+00B5 or U+03BC), the
//   second, volt, ampere              symbol; prefix and symbol may each be left out. M is mega and m is milli.
//   ohm, farad, henry                 also letter codes after IEC 60062, the letter in the place of the decimal point:
//                                     R47, 4R7, 470R, 4K7 or 4k7, p33, 4n7, u33, m33, 3F3. The tolerance letter that
//                                     may end a printed code is refused: a value with a forgotten letter and a value
//                                     with a wrong letter would look the same.
//   metre                             m, dm, cm, mm, um, in (or inch, inches, "), or a wire gauge "AWG 26", "26 AWG",
//                                     "AWG 0000", "AWG 4/0" (ASTM B258, 0000 .. 56). A prefix needs its m.
//   ratio                             0.01, 1%, 50ppm
//   celsius, decibel, turn, degree    20, 20 C, 20 degC; -6, -6 dB, -6 dBFS; 1180, 1180 turns; 30, 30 deg
//
// Signs are kept: whether a negative value makes sense is for the caller to say. The error (bad_input) quotes the text,
// points at the offending character (counted from 1) and says what would be accepted. Not accepted: an empty text,
// infinity, NaN, hexadecimal, a decimal comma, anything after the quantity, values beyond the range of a double. The
// result is the double nearest to the decimal number written ("4n7", "4.7n" and "4.7e-9" are the same double; inches
// and gauges are rounded once more). Decimal point only ('.'), independent of any locale.
Result<double> parse_quantity(std::string_view text, Unit unit);

// Engineering notation with `digits` significant digits (1 .. 17): 127.4 kHz, 26.10 pF, 10.00 kohm. Lengths are in um
// below 0.1 mm, mm below 1 m, else m; ratios in ppm below 0.1 %, else in %. Uses a proper ohm, micro and degree sign
// only when `unicode`. A value that is not finite reads "unknown". What is printed is read back by parse_quantity, with
// 17 digits to the same double.
std::string format_quantity(double value, Unit unit, int digits = 4, bool unicode = false);
// The same in plain characters: "63.41 kHz", "591.2 ohm".
std::string hertz_text(double frequency_hz, int digits = 4);
std::string ohm_text(double resistance_ohm, int digits = 4);

// A value with its 95 % half-width, both in the same prefix and to the same decimal place, the half-width to two
// significant digits: "127.430 +- 0.021 kHz". A half-width that is negative or not finite is unknown and said so.
std::string format_with_uncertainty(double value, double half_width, Unit unit, bool unicode = false);

}  // namespace coldtune::record
