// The writing half of quantity.hpp.
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <string_view>

#include "analyzer/record/quantity.hpp"

namespace coldtune::record {
namespace {

// A decimal number d.ddd * 10^exponent, digits without the point.
struct Decimal {
    bool negative = false;
    std::string digits;
    int exponent = 0;
};

// `value` (finite, not zero) rounded to `count` significant digits, correctly whatever the locale.
Decimal round_to_digits(double value, int count) {
    const std::string text = fmt::format("{:.{}e}", std::abs(value), count - 1);
    const std::size_t mark = text.find('e');
    Decimal decimal{std::signbit(value), {}, 0};
    for (const char c : std::string_view(text).substr(0, mark)) {
        if (c != '.') decimal.digits.push_back(c);
    }
    const char* first = text.data() + mark + 1;
    if (*first == '+') ++first;
    std::from_chars(first, text.data() + text.size(), decimal.exponent);
    return decimal;
}

// `value` rounded to a multiple of 10^place; the last digit is that place's. Digits "0" when nothing is left.
Decimal round_to_place(double value, int place) {
    const Decimal nothing{false, "0", place};  // not less than nothing either
    if (value == 0) return nothing;
    const int count = round_to_digits(value, 17).exponent - place + 1;
    if (count < 1) {
        const bool one = count == 0 && std::abs(value) / std::pow(10.0, place) >= 0.5;
        return one ? Decimal{std::signbit(value), "1", place} : nothing;
    }
    Decimal decimal = round_to_digits(value, std::min(count, 17));
    const int wanted = decimal.exponent - place + 1;
    decimal.digits.resize(static_cast<std::size_t>(std::max(wanted, 1)), '0');
    return decimal;
}

// Plain notation of decimal / 10^shift: "127.430", "0.021", "210".
std::string plain(const Decimal& decimal, int shift) {
    const int point = decimal.exponent - shift + 1;  // digits before the decimal point
    const int size = static_cast<int>(decimal.digits.size());
    if (decimal.digits == "0" && point >= size) return "0";  // nothing left: not "00", nor less than nothing
    std::string text;
    if (point <= 0) {
        text = "0." + std::string(static_cast<std::size_t>(-point), '0') + decimal.digits;
    } else if (point >= size) {
        text = decimal.digits + std::string(static_cast<std::size_t>(point - size), '0');
    } else {
        text = decimal.digits;
        text.insert(static_cast<std::size_t>(point), 1, '.');
    }
    return (decimal.negative ? "-" : "") + text;
}

struct Scale {
    int exponent = 0;
    std::string_view prefix;
    std::string_view unicode_prefix;
};

constexpr std::array engineering = {
    Scale{-12, "p", "p"}, Scale{-9, "n", "n"}, Scale{-6, "u", "\u00B5"}, Scale{-3, "m", "m"},
    Scale{0, "", ""},     Scale{3, "k", "k"},  Scale{6, "M", "M"},       Scale{9, "G", "G"},
};
constexpr std::array lengths = {Scale{-6, "u", "\u00B5"}, Scale{-3, "m", "m"}, Scale{0, "", ""}};
constexpr std::array shares = {Scale{-6, "ppm", "ppm"}, Scale{-2, "%", "%"}};

// Prefix (or, for ratios, the whole symbol) for a number whose leading digit stands at 10^exponent.
Scale scale_for(Unit unit, int exponent) {
    switch (unit) {
        case Unit::metre:
            return exponent < -4 ? lengths[0] : exponent < 0 ? lengths[1] : lengths[2];
        case Unit::ratio:
            return exponent < -3 ? shares[0] : shares[1];
        case Unit::none:
        case Unit::celsius:
        case Unit::decibel:
        case Unit::turn:
        case Unit::degree:
            return {};
        default: {
            const int floored = exponent >= 0 ? exponent / 3 : -((2 - exponent) / 3);
            const int index = std::clamp(floored, -4, 3) + 4;
            return engineering[static_cast<std::size_t>(index)];
        }
    }
}

std::string_view symbol_of(Unit unit, bool unicode) {
    switch (unit) {
        case Unit::none:
        case Unit::ratio:
            return "";
        case Unit::ohm:
            return unicode ? "\u03A9" : "ohm";
        case Unit::farad:
            return "F";
        case Unit::henry:
            return "H";
        case Unit::metre:
            return "m";
        case Unit::hertz:
            return "Hz";
        case Unit::second:
            return "s";
        case Unit::celsius:
            return unicode ? "\u00B0C" : "C";
        case Unit::decibel:
            return "dB";
        case Unit::volt:
            return "V";
        case Unit::ampere:
            return "A";
        case Unit::turn:
            return "turns";
        case Unit::degree:
            return unicode ? "\u00B0" : "deg";
    }
    return "";
}

std::string with_symbol(std::string number, Unit unit, const Scale& scale, bool unicode) {
    const std::string symbol =
        std::string(unicode ? scale.unicode_prefix : scale.prefix) + std::string(symbol_of(unit, unicode));
    if (!symbol.empty()) number += ' ' + symbol;
    return number;
}

// Numbers this far outside the prefixes are written with a power of ten instead of a row of zeros.
constexpr int longest_row = 6;

std::string engineering_text(const Decimal& decimal, Unit unit, bool unicode) {
    const Scale scale = scale_for(unit, decimal.exponent);
    const int before = decimal.exponent - scale.exponent;
    if (before < -longest_row || before > longest_row + 3) {
        std::string mantissa = plain({decimal.negative, decimal.digits, 0}, 0);
        return with_symbol(fmt::format("{}e{}", mantissa, decimal.exponent), unit, {}, unicode);
    }
    return with_symbol(plain(decimal, scale.exponent), unit, scale, unicode);
}

}  // namespace

std::string hertz_text(double frequency_hz, int digits) {
    return format_quantity(frequency_hz, Unit::hertz, digits);
}

std::string ohm_text(double resistance_ohm, int digits) {
    return format_quantity(resistance_ohm, Unit::ohm, digits);
}

std::string format_quantity(double value, Unit unit, int digits, bool unicode) {
    if (!std::isfinite(value)) return "unknown";
    if (value == 0) return with_symbol("0", unit, unit == Unit::ratio ? shares[1] : Scale{}, unicode);
    return engineering_text(round_to_digits(value, std::clamp(digits, 1, 17)), unit, unicode);
}

std::string format_with_uncertainty(double value, double half_width, Unit unit, bool unicode) {
    if (!std::isfinite(value)) return "unknown";
    if (!std::isfinite(half_width) || half_width < 0) {
        return format_quantity(value, unit, 4, unicode) + " (uncertainty unknown)";
    }
    const std::string_view between = unicode ? " \u00B1 " : " +- ";
    if (half_width == 0) return format_quantity(value, unit, 6, unicode) + std::string(between) + "0";
    const Decimal half = round_to_digits(half_width, 2);
    const Decimal middle = round_to_place(value, half.exponent - 1);
    const bool vanished = middle.digits == "0";
    const Scale scale = scale_for(unit, vanished ? half.exponent : std::max(half.exponent, middle.exponent));
    return with_symbol(plain(middle, scale.exponent) + std::string(between) + plain(half, scale.exponent), unit, scale,
                       unicode);
}

}  // namespace coldtune::record
