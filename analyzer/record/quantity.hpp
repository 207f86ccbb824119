// Quantities as people write them: "10k", "4.7n", "4n7", "0.45mm", "20cm", "AWG 26", "1M", "208 kHz", "1%".
#pragma once

#include <string>
#include <string_view>

#include "dsp/result.hpp"

namespace coldtune::record {

enum class Unit { none, ohm, farad, henry, metre, hertz, second, celsius, decibel, volt, ampere, ratio, turn };

// SI value of `text` for a quantity of this unit. Accepts plain SI numbers, SI prefixes with or without the unit
// symbol, IEC 60062 letter codes (R47, 4K7, 4n7, p33, u33 with u, U+00B5 or U+03BC), metres also as mm/cm/in/" and "AWG
// n" (ASTM B258), ratios as "1%" or "0.01" or "50ppm". M is mega and m is milli. The error (bad_input) quotes the text,
// points at the offending character with its position and says what would be accepted. Decimal point only ('.'),
// independent of locale.
Result<double> parse_quantity(std::string_view text, Unit unit);

// Engineering notation with `digits` significant digits: 127.4 kHz, 26.10 pF, 10.00 kohm. Uses a proper ohm sign only
// when `unicode`.
std::string format_quantity(double value, Unit unit, int digits = 4, bool unicode = false);

// A value with its 95 % half-width, both in the same prefix and to the same decimal place, the half-width to two
// significant digits: "127.430 +- 0.021 kHz".
std::string format_with_uncertainty(double value, double half_width, Unit unit, bool unicode = false);

}  // namespace coldtune::record
