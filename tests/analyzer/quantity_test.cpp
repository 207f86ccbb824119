#include "analyzer/record/quantity.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "analyzer/model/wire_gauge.hpp"
#include "tests/support/comma_locale.hpp"

namespace coldtune::record {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

double parsed(std::string_view text, Unit unit) {
    const auto value = parse_quantity(text, unit);
    EXPECT_TRUE(value.ok()) << text << ": " << (value ? "" : value.error().message);
    return value ? *value : std::numeric_limits<double>::quiet_NaN();
}

std::string refusal(std::string_view text, Unit unit) {
    const auto value = parse_quantity(text, unit);
    if (value) {
        ADD_FAILURE() << '"' << text << "\" was read as " << *value;
        return {};
    }
    EXPECT_EQ(value.error().kind, ErrorKind::bad_input);
    EXPECT_THAT(value.error().message, Not(HasSubstr("\n")));
    return value.error().message;
}

constexpr std::array all_units = {Unit::none,   Unit::ohm,    Unit::farad,   Unit::henry,   Unit::metre,
                                  Unit::hertz,  Unit::second, Unit::celsius, Unit::decibel, Unit::volt,
                                  Unit::ampere, Unit::ratio,  Unit::turn,    Unit::degree};

// Every expected value below is the double the compiler makes of the decimal literal: equality is exact, because
// prefix and exponent are joined before the one conversion.

TEST(Quantity, ReadsWhatTheCommandLineContractNames) {
    EXPECT_EQ(parsed("10k", Unit::ohm), 10e3);
    EXPECT_EQ(parsed("4.7n", Unit::farad), 4.7e-9);
    EXPECT_EQ(parsed("4n7", Unit::farad), 4.7e-9);
    EXPECT_EQ(parsed("0.45mm", Unit::metre), 0.45e-3);
    EXPECT_EQ(parsed("20cm", Unit::metre), 0.20);
    EXPECT_EQ(parsed("1M", Unit::ohm), 1e6);
    EXPECT_EQ(parsed("150p", Unit::farad), 150e-12);
    EXPECT_EQ(parsed("208 kHz", Unit::hertz), 208e3);
    EXPECT_EQ(parsed("86k", Unit::hertz), 86e3);
    EXPECT_EQ(parsed("1%", Unit::ratio), 0.01);
    EXPECT_EQ(parsed("-6", Unit::decibel), -6.0);
    EXPECT_EQ(parsed("AWG 26", Unit::metre), model::awg_diameter_m(26));
}

TEST(Quantity, ReadsPlainNumbersForEveryUnit) {
    for (const Unit unit : all_units) {
        EXPECT_EQ(parsed("12", unit), 12.0);
        EXPECT_EQ(parsed("0.5", unit), 0.5);
        EXPECT_EQ(parsed(".5", unit), 0.5);
        EXPECT_EQ(parsed("5.", unit), 5.0);
        EXPECT_EQ(parsed("-2.5e-3", unit), -2.5e-3);
        EXPECT_EQ(parsed("+1E+4", unit), 1e4);
        EXPECT_EQ(parsed("  7 ", unit), 7.0);
        EXPECT_EQ(parsed("0", unit), 0.0);
        EXPECT_EQ(parsed("0e99999", unit), 0.0);
        EXPECT_EQ(parsed("1e-310", unit), 1e-310);  // a subnormal is still a number
    }
}

TEST(Quantity, ReadsPrefixesWithAndWithoutTheSymbol) {
    EXPECT_EQ(parsed("4.7 pF", Unit::farad), 4.7e-12);
    EXPECT_EQ(parsed("2.2uF", Unit::farad), 2.2e-6);
    EXPECT_EQ(parsed("2.2\u00B5F", Unit::farad), 2.2e-6);  // micro sign
    EXPECT_EQ(parsed("2.2\u03BCF", Unit::farad), 2.2e-6);  // Greek small mu
    EXPECT_EQ(parsed("25mH", Unit::henry), 25e-3);
    EXPECT_EQ(parsed("25m", Unit::henry), 25e-3);
    EXPECT_EQ(parsed("10kohm", Unit::ohm), 10e3);
    EXPECT_EQ(parsed("10 k ohm", Unit::ohm), 10e3);
    EXPECT_EQ(parsed("10k\u03A9", Unit::ohm), 10e3);        // Greek capital omega
    EXPECT_EQ(parsed("10\u00A0k\u2126", Unit::ohm), 10e3);  // ohm sign after a no-break space
    EXPECT_EQ(parsed("4700 ohms", Unit::ohm), 4700.0);
    EXPECT_EQ(parsed("10K", Unit::ohm), 10e3);
    EXPECT_EQ(parsed("1G", Unit::ohm), 1e9);
    EXPECT_EQ(parsed("5ms", Unit::second), 5e-3);
    EXPECT_EQ(parsed("300 mV", Unit::volt), 0.3);
    EXPECT_EQ(parsed("2mA", Unit::ampere), 2e-3);
    EXPECT_EQ(parsed("1.5M", Unit::hertz), 1.5e6);
    EXPECT_EQ(parsed("1.5m", Unit::hertz), 1.5e-3);  // M is mega, m is milli
    EXPECT_EQ(parsed("2k", Unit::none), 2000.0);
    EXPECT_EQ(parsed("3e3k", Unit::ohm), 3e6);
}

TEST(Quantity, ReadsLengths) {
    EXPECT_EQ(parsed("0.52", Unit::metre), 0.52);
    EXPECT_EQ(parsed("0.52 m", Unit::metre), 0.52);
    EXPECT_EQ(parsed("5m", Unit::metre), 5.0);  // a metre, never a milli without its unit
    EXPECT_EQ(parsed("3 dm", Unit::metre), 0.3);
    EXPECT_EQ(parsed("450um", Unit::metre), 450e-6);
    EXPECT_EQ(parsed("450\u00B5m", Unit::metre), 450e-6);
    // 1 inch = 25.4 mm exactly (international yard and pound agreement of 1959; from memory).
    for (const char* text : {"8in", "8 in", "8\"", "8 inch", "8 inches", "8\u2033"}) {
        EXPECT_DOUBLE_EQ(parsed(text, Unit::metre), 0.2032) << text;  // one more rounding: within 4 ulp
    }
    EXPECT_THAT(refusal("5k", Unit::metre), HasSubstr("unexpected 'k' at character 2"));
    EXPECT_THAT(refusal("5u", Unit::metre), HasSubstr("unexpected 'u' at character 2"));
}

TEST(Quantity, ReadsWireGauges) {
    // ASTM B258 fixes gauge 36 at 0.005 in and gauge 0000 at 0.46 in. 1e-12 is far below any wire, far above rounding.
    EXPECT_NEAR(parsed("AWG 36", Unit::metre), 0.127e-3, 1e-12);
    EXPECT_NEAR(parsed("AWG 0000", Unit::metre), 11.684e-3, 1e-12);
    EXPECT_EQ(parsed("AWG 4/0", Unit::metre), parsed("AWG 0000", Unit::metre));
    EXPECT_EQ(parsed("awg 1/0", Unit::metre), parsed("AWG 0", Unit::metre));
    EXPECT_EQ(parsed("AWG26", Unit::metre), model::awg_diameter_m(26));
    EXPECT_EQ(parsed("26 AWG", Unit::metre), model::awg_diameter_m(26));
    EXPECT_EQ(parsed("26awg", Unit::metre), model::awg_diameter_m(26));
    EXPECT_EQ(parsed("AWG 00", Unit::metre), model::awg_diameter_m(-1));
    for (const char* text : {"AWG", "AWG x", "AWG -3", "AWG 57", "AWG 999999999999", "AWG 00000", "AWG 26.5", "AWG 5/0",
                             "AWG 26 mm", "-26 AWG", "26.5 AWG", "AWG 0x1", "AWG 001"}) {
        refusal(text, Unit::metre);
    }
    refusal("AWG 26", Unit::ohm);
}

TEST(Quantity, ReadsRatiosAnglesLevelsTurnsTemperatures) {
    EXPECT_EQ(parsed("50ppm", Unit::ratio), 50e-6);
    EXPECT_EQ(parsed("0.5 %", Unit::ratio), 0.005);
    EXPECT_EQ(parsed("100%", Unit::ratio), 1.0);
    EXPECT_EQ(parsed("-6 dB", Unit::decibel), -6.0);
    EXPECT_EQ(parsed("-6dBFS", Unit::decibel), -6.0);
    EXPECT_EQ(parsed("1180 turns", Unit::turn), 1180.0);
    EXPECT_EQ(parsed("7.5", Unit::turn), 7.5);
    EXPECT_EQ(parsed("23 C", Unit::celsius), 23.0);
    EXPECT_EQ(parsed("-5\u00B0C", Unit::celsius), -5.0);
    EXPECT_EQ(parsed("30 deg", Unit::degree), 30.0);
    EXPECT_EQ(parsed("30\u00B0", Unit::degree), 30.0);
    refusal("300K", Unit::celsius);  // kelvin would be off by 273
    refusal("1k", Unit::turn);
}

TEST(Quantity, PointsAtTheCharacterAndSaysWhatToWrite) {
    EXPECT_EQ(refusal("10kk", Unit::ohm),
              "\"10kk\": unexpected 'k' at character 4; write a resistance like 10k, 4k7 or 4700 ohm");
    EXPECT_EQ(refusal("", Unit::farad), "\"\": the value is missing; write a capacitance like 4.7n, 4n7 or 150 pF");
    EXPECT_EQ(refusal("208 kV", Unit::hertz),
              "\"208 kV\": unexpected 'V' at character 6; write a frequency like 86k, 208 kHz or 1000");
    // Positions count characters, not bytes: the micro sign is two bytes.
    EXPECT_THAT(refusal("2\u00B5x", Unit::farad), HasSubstr("unexpected 'x' at character 3"));
    EXPECT_THAT(refusal("-", Unit::ohm), HasSubstr("the number is missing"));
    EXPECT_THAT(refusal("k", Unit::ohm), HasSubstr("unexpected 'k' at character 1"));
    EXPECT_THAT(refusal("1,5k", Unit::ohm), HasSubstr("unexpected ',' at character 2 (the decimal sign is a point"));
    EXPECT_THAT(refusal("4.7k7", Unit::ohm), HasSubstr("unexpected '7' at character 5"));
    EXPECT_THAT(refusal("4k7k", Unit::ohm), HasSubstr("unexpected 'k' at character 4"));
    EXPECT_THAT(refusal("10 kHz 3", Unit::hertz), HasSubstr("unexpected '3' at character 8"));
}

TEST(Quantity, RefusesTheToleranceLetterOfAPrintedCode) {
    // IEC 60062 lets a tolerance letter follow (from memory: B C D F G J K M); here it is refused with a hint.
    for (const char letter : std::string("BCDGJKM")) {
        EXPECT_THAT(refusal(std::string("4K7") + letter, Unit::ohm), HasSubstr("a tolerance letter is left out here"));
    }
}

TEST(Quantity, RefusesWhatIsNoDecimalNumber) {
    for (const Unit unit : all_units) {
        for (const char* text : {"nan",      "NaN",
                                 "inf",      "-inf",
                                 "infinity", "0x10",
                                 "0x1p3",    "1e999",
                                 "-1e999",   "1e-999",
                                 "1e",       "1e+",
                                 "e5",       ".",
                                 "+.",       "--1",
                                 "+-1",      "1 2",
                                 "1..2",     "1.2.3",
                                 "1'000",    "1 000",
                                 " ",        "\t",
                                 "abc",      "1e9999999999999999",
                                 "\xff",     "1\xff",
                                 "1\x01",    "\u0661" /* Arabic-Indic digit one */,
                                 "1\n",      "$(id)",
                                 "%n"}) {
            refusal(text, unit);
        }
        refusal(std::string_view("1\0", 2), unit);
        refusal(std::string(101, '1'), unit);
        refusal(std::string(1000000, 'k'), unit);
    }
    refusal("1e308M", Unit::ohm);
    refusal("1e-320p", Unit::farad);
    refusal("1e320 in", Unit::metre);
}

TEST(Quantity, MessagesStayOneSafeLine) {
    const std::string message = refusal("10\x1b[31mk\n\r\x07 evil", Unit::ohm);
    for (const char c : message) EXPECT_GE(static_cast<unsigned char>(c), 0x20) << message;
    EXPECT_LT(refusal(std::string(5000, 'a'), Unit::ohm).size(), 250U);
}

TEST(Quantity, RandomBytesNeverDoMoreThanBeRefused) {
    std::mt19937_64 random(20261125);
    const std::string alphabet = "0123456789.,eE+-kKmMunpfRFHhz%\"AWGgdBC \t/\xC2\xB5\xCE\xBC\xE2\x84\xA6\xFFx";
    std::size_t accepted = 0;
    for (int round = 0; round < 50000; ++round) {
        std::string text;
        const std::size_t length = random() % 9;
        for (std::size_t i = 0; i < length; ++i) text.push_back(alphabet[random() % alphabet.size()]);
        for (const Unit unit : {Unit::ohm, Unit::farad, Unit::metre, Unit::ratio}) {
            if (const auto value = parse_quantity(text, unit)) {
                ++accepted;
                EXPECT_TRUE(std::isfinite(*value)) << text;
            } else {
                EXPECT_FALSE(value.error().message.empty());
            }
        }
    }
    EXPECT_GT(accepted, 1000U);  // the alphabet does reach the grammar
}

TEST(Quantity, WritesEngineeringNotation) {
    EXPECT_EQ(format_quantity(127400, Unit::hertz), "127.4 kHz");
    EXPECT_EQ(format_quantity(26.1e-12, Unit::farad), "26.10 pF");
    EXPECT_EQ(format_quantity(10e3, Unit::ohm), "10.00 kohm");
    EXPECT_EQ(format_quantity(10e3, Unit::ohm, 4, true), "10.00 k\u03A9");
    EXPECT_EQ(format_quantity(2.2e-6, Unit::farad, 2, true), "2.2 \u00B5F");
    EXPECT_EQ(format_quantity(2.2e-6, Unit::farad, 2), "2.2 uF");
    EXPECT_EQ(format_quantity(-4700, Unit::ohm, 3), "-4.70 kohm");
    EXPECT_EQ(format_quantity(1180, Unit::turn), "1180 turns");
    EXPECT_EQ(format_quantity(0.52, Unit::metre, 3), "520 mm");
    EXPECT_EQ(format_quantity(0.45e-3, Unit::metre, 3), "0.450 mm");
    EXPECT_EQ(format_quantity(20e-6, Unit::metre, 3), "20.0 um");
    EXPECT_EQ(format_quantity(1.25, Unit::metre, 3), "1.25 m");
    EXPECT_EQ(format_quantity(0.01, Unit::ratio, 3), "1.00 %");
    EXPECT_EQ(format_quantity(50e-6, Unit::ratio, 3), "50.0 ppm");
    EXPECT_EQ(format_quantity(-6, Unit::decibel, 3), "-6.00 dB");
    EXPECT_EQ(format_quantity(20, Unit::celsius, 3), "20.0 C");
    EXPECT_EQ(format_quantity(20, Unit::celsius, 3, true), "20.0 \u00B0C");
    EXPECT_EQ(format_quantity(30, Unit::degree, 2), "30 deg");
    EXPECT_EQ(format_quantity(0, Unit::hertz), "0 Hz");
    EXPECT_EQ(format_quantity(0, Unit::ratio), "0 %");
    EXPECT_EQ(format_quantity(1234567, Unit::hertz, 2), "1.2 MHz");
    EXPECT_EQ(format_quantity(123456, Unit::hertz, 1), "100 kHz");
}

TEST(Quantity, RoundingCarriesIntoTheNextPrefix) {
    EXPECT_EQ(format_quantity(999.96, Unit::hertz, 4), "1.000 kHz");
    EXPECT_EQ(format_quantity(999.94, Unit::hertz, 4), "999.9 Hz");
    EXPECT_EQ(format_quantity(999999.9e-12, Unit::farad, 4), "1.000 uF");
}

TEST(Quantity, ValuesWithoutAPrefixOfTheirOwn) {
    EXPECT_EQ(format_quantity(1e-15, Unit::farad, 2), "0.0010 pF");
    EXPECT_EQ(format_quantity(2.5e15, Unit::ohm, 2), "2500000 Gohm");
    EXPECT_EQ(format_quantity(2.5e30, Unit::ohm, 2), "2.5e30 ohm");
    EXPECT_EQ(format_quantity(2.5e-30, Unit::farad, 2), "2.5e-30 F");
    EXPECT_EQ(format_quantity(std::numeric_limits<double>::quiet_NaN(), Unit::ohm), "unknown");
    EXPECT_EQ(format_quantity(std::numeric_limits<double>::infinity(), Unit::ohm), "unknown");
}

TEST(Quantity, WhatIsPrintedWithSeventeenDigitsReadsBackToTheSameDouble) {
    std::mt19937_64 random(60062);
    std::uniform_real_distribution<double> exponent(-20, 20);
    std::uniform_real_distribution<double> mantissa(-1, 1);
    for (int round = 0; round < 20000; ++round) {
        const double value = mantissa(random) * std::pow(10.0, exponent(random));
        for (const Unit unit : all_units) {
            const std::string text = format_quantity(value, unit, 17, round % 2 == 0);
            ASSERT_EQ(parsed(text, unit), value) << text;
        }
    }
}

TEST(Quantity, WhatIsPrintedWithFourDigitsReadsBackWithinHalfADigit) {
    std::mt19937_64 random(60063);
    std::uniform_real_distribution<double> exponent(-14, 12);
    for (int round = 0; round < 20000; ++round) {
        const double value = std::pow(10.0, exponent(random));
        const double back = parsed(format_quantity(value, Unit::ohm, 4), Unit::ohm);
        // Four digits: at most half a unit of the fourth, 5e-4 of the value when the first is 1; 1e-12 for the doubles.
        ASSERT_LE(std::abs(back - value), value * (5e-4 + 1e-12)) << value;
    }
}

TEST(Quantity, WritesAValueWithItsUncertainty) {
    EXPECT_EQ(format_with_uncertainty(127430, 21, Unit::hertz), "127.430 +- 0.021 kHz");
    EXPECT_EQ(format_with_uncertainty(127430, 21, Unit::hertz, true), "127.430 \u00B1 0.021 kHz");
    EXPECT_EQ(format_with_uncertainty(127430, 2100, Unit::hertz), "127.4 +- 2.1 kHz");
    EXPECT_EQ(format_with_uncertainty(127430, 21000, Unit::hertz), "127 +- 21 kHz");
    EXPECT_EQ(format_with_uncertainty(127430, 210000, Unit::hertz), "130 +- 210 kHz");
    EXPECT_EQ(format_with_uncertainty(26.1e-12, 0.034e-12, Unit::farad), "26.100 +- 0.034 pF");
    EXPECT_EQ(format_with_uncertainty(0.3, 0.0996, Unit::hertz), "300 +- 100 mHz");
    EXPECT_EQ(format_with_uncertainty(99.96, 1.0, Unit::hertz), "100.0 +- 1.0 Hz");
    EXPECT_EQ(format_with_uncertainty(4.0, 1000, Unit::ohm), "0.0 +- 1.0 kohm");
    EXPECT_EQ(format_with_uncertainty(70, 1000, Unit::ohm), "0.1 +- 1.0 kohm");
    EXPECT_EQ(format_with_uncertainty(-1234.5, 12, Unit::ohm), "-1.234 +- 0.012 kohm");
    EXPECT_EQ(format_with_uncertainty(0, 0.012, Unit::volt), "0 +- 12 mV");
    EXPECT_EQ(format_with_uncertainty(2e-9, 570e-9, Unit::henry), "0 +- 570 nH");
    EXPECT_EQ(format_with_uncertainty(-2e-9, 570e-9, Unit::henry), "0 +- 570 nH");
    EXPECT_EQ(format_with_uncertainty(1000, 0, Unit::hertz), "1.00000 kHz +- 0");
    EXPECT_EQ(format_with_uncertainty(1000, -1, Unit::hertz), "1.000 kHz (uncertainty unknown)");
    EXPECT_EQ(format_with_uncertainty(1000, std::numeric_limits<double>::quiet_NaN(), Unit::hertz),
              "1.000 kHz (uncertainty unknown)");
    EXPECT_EQ(format_with_uncertainty(std::numeric_limits<double>::infinity(), 1, Unit::hertz), "unknown");
}

TEST(Quantity, CaresForNoLocale) {
    const testing::CommaLocale comma;
    std::ostringstream proof;
    proof << 1234.5;
    ASSERT_EQ(proof.str(), "1.234,5");  // the locale is in force for whoever asks it
    EXPECT_EQ(parsed("4.7n", Unit::farad), 4.7e-9);
    EXPECT_EQ(parsed("1.5e3", Unit::hertz), 1500.0);
    refusal("4,7n", Unit::farad);
    EXPECT_EQ(format_quantity(1234567.8, Unit::turn, 8), "1234567.8 turns");
    EXPECT_EQ(format_quantity(127400, Unit::hertz), "127.4 kHz");
    EXPECT_EQ(format_with_uncertainty(127430, 21, Unit::hertz), "127.430 +- 0.021 kHz");
}

}  // namespace
}  // namespace coldtune::record
