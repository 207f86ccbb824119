#include "analyzer/record/quantity.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <optional>
#include <span>

#include "analyzer/model/wire_gauge.hpp"
#include "analyzer/record/plain_text.hpp"

namespace coldtune::record {
namespace {

// A symbol that may follow the number: the value is number * 10^exponent * factor.
struct Symbol {
    std::u32string_view text;
    int exponent = 0;
    double factor = 1;
    bool takes_prefix = false;
};

struct UnitTraits {
    std::span<const Symbol> symbols;
    bool prefixes = false;      // SI prefixes, with or without the symbol
    bool letter_codes = false;  // IEC 60062
    char32_t point_letter = 0;  // the code letter that stands for the unit itself (R, F)
    std::string_view example;
};

constexpr std::array ohm_symbols = {
    Symbol{U"ohms", 0, 1, true},   Symbol{U"ohm", 0, 1, true},
    Symbol{U"Ohms", 0, 1, true},   Symbol{U"Ohm", 0, 1, true},
    Symbol{U"OHM", 0, 1, true},    Symbol{U"\u03A9", 0, 1, true},
    Symbol{U"\u2126", 0, 1, true}, Symbol{U"R"},
};
constexpr std::array farad_symbols = {Symbol{U"F", 0, 1, true}};
constexpr std::array henry_symbols = {Symbol{U"H", 0, 1, true}};
constexpr std::array hertz_symbols = {Symbol{U"Hz", 0, 1, true}, Symbol{U"hz", 0, 1, true}, Symbol{U"HZ", 0, 1, true}};
constexpr std::array second_symbols = {Symbol{U"s", 0, 1, true}};
constexpr std::array volt_symbols = {Symbol{U"V", 0, 1, true}};
constexpr std::array ampere_symbols = {Symbol{U"A", 0, 1, true}};
constexpr double inch_m = 0.0254;  // exact by the international agreement of 1959
constexpr std::array metre_symbols = {
    Symbol{U"mm", -3},
    Symbol{U"cm", -2},
    Symbol{U"dm", -1},
    Symbol{U"um", -6},
    Symbol{U"\u00B5m", -6},
    Symbol{U"\u03BCm", -6},
    Symbol{U"m"},
    Symbol{U"in", 0, inch_m},
    Symbol{U"inches", 0, inch_m},
    Symbol{U"inch", 0, inch_m},
    Symbol{U"\"", 0, inch_m},
    Symbol{U"\u2033", 0, inch_m},
};
constexpr std::array celsius_symbols = {Symbol{U"C"}, Symbol{U"degC"}, Symbol{U"\u00B0C"}, Symbol{U"\u2103"}};
constexpr std::array decibel_symbols = {Symbol{U"dB"}, Symbol{U"dBFS"}};
constexpr std::array ratio_symbols = {Symbol{U"%", -2}, Symbol{U"ppm", -6}};
constexpr std::array turn_symbols = {Symbol{U"turns"}, Symbol{U"turn"}};
constexpr std::array degree_symbols = {Symbol{U"deg"}, Symbol{U"degrees"}, Symbol{U"\u00B0"}};

UnitTraits traits(Unit unit) {
    switch (unit) {
        case Unit::none:
            return {{}, true, false, 0, "write a number like 12, 0.5 or 1k"};
        case Unit::ohm:
            return {ohm_symbols, true, true, U'R', "write a resistance like 10k, 4k7 or 4700 ohm"};
        case Unit::farad:
            return {farad_symbols, true, true, U'F', "write a capacitance like 4.7n, 4n7 or 150 pF"};
        case Unit::henry:
            return {henry_symbols, true, true, 0, "write an inductance like 25m, 4u7 or 0.3 uH"};
        case Unit::metre:
            return {metre_symbols, false, false, 0, "write a length like 0.45mm, 20cm, 0.52, 8in or AWG 26"};
        case Unit::hertz:
            return {hertz_symbols, true, false, 0, "write a frequency like 86k, 208 kHz or 1000"};
        case Unit::second:
            return {second_symbols, true, false, 0, "write a time like 5ms, 0.2 s or 1.5"};
        case Unit::celsius:
            return {celsius_symbols, false, false, 0, "write a temperature in degrees Celsius like 20 or 20 C"};
        case Unit::decibel:
            return {decibel_symbols, false, false, 0, "write a level like -6 or -6 dB"};
        case Unit::volt:
            return {volt_symbols, true, false, 0, "write a voltage like 1.2, 300m or 300 mV"};
        case Unit::ampere:
            return {ampere_symbols, true, false, 0, "write a current like 0.5m, 2 mA or 0.001"};
        case Unit::ratio:
            return {ratio_symbols, false, false, 0, "write a share like 1%, 0.01 or 50ppm"};
        case Unit::turn:
            return {turn_symbols, false, false, 0, "write a number of turns like 1180 or 7.5"};
        case Unit::degree:
            return {degree_symbols, false, false, 0, "write an angle in degrees like 0, 30 or 90 deg"};
    }
    return {};
}

std::optional<int> prefix_exponent(char32_t c) {
    switch (c) {
        case U'p':
            return -12;
        case U'n':
            return -9;
        case U'u':
        case U'\u00B5':
        case U'\u03BC':
            return -6;
        case U'm':
            return -3;
        case U'k':
        case U'K':
            return 3;
        case U'M':
            return 6;
        case U'G':
            return 9;
        default:
            return std::nullopt;
    }
}

bool is_digit(char32_t c) {
    return c >= U'0' && c <= U'9';
}

bool is_space(char32_t c) {
    return c == U' ' || c == U'\t' || c == U'\u00A0' || c == U'\u2009' || c == U'\u202F';
}

constexpr std::size_t longest_text = 100;  // bytes; a double needs 25

class QuantityParser {
public:
    QuantityParser(std::string_view text, Unit unit)
        : text_(text), unit_(unit), traits_(traits(unit)), points_(decode_utf8(text)) {}

    Result<double> parse() {
        skip_spaces();
        if (at_end()) return problem("the value is missing");
        if (unit_ == Unit::metre && starts_with_gauge_word(at_)) return gauge_after_word();
        if (peek() == U'+' || peek() == U'-') negative_ = points_[at_++] == U'-';
        take_digits(false);
        const bool has_point = peek() == U'.';
        if (has_point) {
            ++at_;
            take_digits(true);
        }
        if (digits_.empty()) {
            if (has_point || !code_letter_before_digit()) return missing_number();
            take_code();
            return finish(true);
        }
        const bool has_exponent = take_exponent();
        if (!has_point && !has_exponent) {
            if (unit_ == Unit::metre && !negative_ && gauge_word_ends_text()) return gauge(digits_);
            if (code_letter_before_digit()) {
                take_code();
                return finish(true);
            }
        }
        return finish(false);
    }

private:
    [[nodiscard]] char32_t peek(std::size_t ahead = 0) const {
        return at_ + ahead < points_.size() ? points_[at_ + ahead] : U'\0';
    }
    [[nodiscard]] bool at_end() const { return at_ >= points_.size(); }
    [[nodiscard]] std::size_t after_spaces(std::size_t from) const {
        while (from < points_.size() && is_space(points_[from])) ++from;
        return from;
    }
    void skip_spaces() { at_ = after_spaces(at_); }

    void take_digits(bool fraction) {
        while (is_digit(peek())) {
            digits_.push_back(static_cast<char>('0' + (points_[at_++] - U'0')));
            if (fraction) --exponent_;
        }
    }

    // An 'e' is an exponent only when digits follow; the written exponent is capped where no double is left.
    bool take_exponent() {
        if (peek() != U'e' && peek() != U'E') return false;
        const std::size_t sign = peek(1) == U'+' || peek(1) == U'-' ? 1 : 0;
        if (!is_digit(peek(1 + sign))) return false;
        const bool down = peek(1) == U'-';
        at_ += 1 + sign;
        int written = 0;
        while (is_digit(peek())) written = std::min(written * 10 + static_cast<int>(points_[at_++] - U'0'), 100000);
        exponent_ += down ? -written : written;
        return true;
    }

    [[nodiscard]] std::optional<int> code_exponent(char32_t c) const {
        if (!traits_.letter_codes) return std::nullopt;
        if (c != 0 && c == traits_.point_letter) return 0;
        return prefix_exponent(c);
    }
    [[nodiscard]] bool code_letter_before_digit() const { return code_exponent(peek()) && is_digit(peek(1)); }
    void take_code() {
        exponent_ += *code_exponent(peek());
        ++at_;
        take_digits(true);
    }

    // Where the suffix beginning at `from` can end; the furthest point any reading reaches is where the fault is.
    [[nodiscard]] std::optional<Symbol> match_suffix(std::size_t from, bool code, std::size_t& furthest) const {
        const std::u32string_view all = points_;
        furthest = from;
        const auto ends = [&](std::size_t position) {
            furthest = std::max(furthest, position);
            return after_spaces(position) == points_.size();
        };
        const auto try_symbols = [&](std::size_t position, bool prefixed) -> std::optional<Symbol> {
            for (const Symbol& symbol : traits_.symbols) {
                if ((prefixed && !symbol.takes_prefix) || !all.substr(position).starts_with(symbol.text)) continue;
                if (ends(position + symbol.text.size())) return symbol;
            }
            return std::nullopt;
        };
        if (ends(from)) return Symbol{};
        if (auto plain = try_symbols(from, false)) return plain;
        if (code || !traits_.prefixes) return std::nullopt;
        const auto prefix = prefix_exponent(points_[from]);
        if (!prefix) return std::nullopt;
        if (ends(from + 1)) return Symbol{{}, *prefix};
        if (auto prefixed = try_symbols(after_spaces(from + 1), true)) {
            prefixed->exponent += *prefix;
            return prefixed;
        }
        return std::nullopt;
    }

    Result<double> finish(bool code) {
        skip_spaces();
        std::size_t furthest = at_;
        const auto suffix = match_suffix(at_, code, furthest);
        if (!suffix) return unexpected(after_spaces(furthest));
        return value_of(exponent_ + suffix->exponent, suffix->factor);
    }

    // The decimal number written, rounded once: prefix and exponent are joined before the conversion.
    Result<double> value_of(int exponent, double factor) const {
        const std::string decimal = fmt::format("{}e{}", digits_, exponent);
        double value = 0;
        const auto [end, fault] = std::from_chars(decimal.data(), decimal.data() + decimal.size(), value);
        const bool zero = digits_.find_first_not_of('0') == std::string::npos;
        if (zero) return 0.0;
        value *= factor;
        if (fault != std::errc{} || !std::isfinite(value) || value == 0) {
            return problem("the value is outside the range of numbers");
        }
        return negative_ ? -value : value;
    }

    [[nodiscard]] bool starts_with_gauge_word(std::size_t at) const {
        if (at + 3 > points_.size()) return false;
        const std::u32string_view word = std::u32string_view(points_).substr(at, 3);
        return word == U"AWG" || word == U"awg" || word == U"Awg";
    }
    [[nodiscard]] bool gauge_word_ends_text() const {
        const std::size_t word = after_spaces(at_);
        return starts_with_gauge_word(word) && after_spaces(word + 3) == points_.size();
    }

    Result<double> gauge_after_word() {
        at_ += 3;
        skip_spaces();
        std::string number;
        while (is_digit(peek())) number.push_back(static_cast<char>('0' + (points_[at_++] - U'0')));
        if (number.empty()) return missing_number();
        if (peek() == U'/' && peek(1) == U'0' && number.size() == 1 && number >= "1" && number <= "4") {
            number = std::string(static_cast<std::size_t>(number[0] - '0'), '0');  // 4/0 is another way to write 0000
            at_ += 2;
        }
        skip_spaces();
        if (!at_end()) return unexpected(at_);
        return gauge(number);
    }

    // "0" is gauge 0, "00" is -1, "0000" is -3.
    [[nodiscard]] Result<double> gauge(const std::string& number) const {
        const bool zeros = number.find_first_not_of('0') == std::string::npos;
        if (number.size() > (zeros ? 4U : 2U)) return problem("wire gauges run from 0000 to 56");
        const int gauge = zeros ? 1 - static_cast<int>(number.size()) : std::stoi(number);
        if (gauge > 56) return problem("wire gauges run from 0000 to 56");
        return model::awg_diameter_m(gauge);
    }

    [[nodiscard]] Error problem(std::string_view what) const {
        return bad_input(fmt::format("{}: {}; {}", in_quotes(text_), what, traits_.example));
    }
    [[nodiscard]] Error missing_number() const {
        if (at_end()) return problem("the number is missing");
        return unexpected(at_);
    }
    [[nodiscard]] Error unexpected(std::size_t at) const {
        if (at >= points_.size()) return problem("the value is not complete");
        const char32_t c = points_[at];
        const std::string sign = one_line(encode_utf8(std::u32string_view(&points_[at], 1)));
        std::string_view hint;
        if (c == U',') hint = " (the decimal sign is a point, and digits are not grouped)";
        const bool last = after_spaces(at + 1) == points_.size();
        if (traits_.letter_codes && last && std::u32string_view(U"BCDFGJKM").find(c) != std::u32string_view::npos) {
            hint = " (a tolerance letter is left out here)";
        }
        return problem(fmt::format("unexpected '{}' at character {}{}", sign, at + 1, hint));
    }

    std::string_view text_;
    Unit unit_;
    UnitTraits traits_;
    std::u32string points_;
    std::size_t at_ = 0;
    bool negative_ = false;
    std::string digits_;  // of the number, the decimal point taken out
    int exponent_ = 0;    // of ten, to be applied to digits_
};

}  // namespace

Result<double> parse_quantity(std::string_view text, Unit unit) {
    if (text.size() > longest_text) {
        return bad_input(fmt::format("{}: the value is too long ({} bytes, at most {}); {}", in_quotes(text),
                                     text.size(), longest_text, traits(unit).example));
    }
    return QuantityParser(text, unit).parse();
}

}  // namespace coldtune::record
