// Responses from elsewhere: every form the specification and common tables have, and files that lie.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "analyzer/share/response_csv.hpp"
#include "analyzer/share/response_file.hpp"
#include "analyzer/share/touchstone.hpp"
#include "tests/support/comma_locale.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::share {
namespace {

using Complex = std::complex<double>;

void expect_curve(const Result<measure::Curve>& curve, double f, Complex z, double tolerance) {
    ASSERT_TRUE(curve.ok()) << curve.error().message;
    ASSERT_EQ(curve->frequency_hz.size(), 1U);
    EXPECT_NEAR(curve->frequency_hz[0] / f, 1, 1e-15);
    EXPECT_LT(std::abs(curve->impedance_ohm[0] - z) / std::abs(z), tolerance);
}

std::string option_name(char parameter) {
    return std::string(1, static_cast<char>(parameter - 'a' + 'A'));
}

// The same impedance written in every way there is.
TEST(TouchstoneImport, EveryParameterFormUnitAndVersion) {
    const testing::CommaLocale elsewhere;
    const Complex z(123.4, -2345.6);
    const double r = 75;
    for (const bool second : {false, true}) {
        for (const char parameter : {'s', 'z', 'y'}) {
            const Complex value = parameter == 's'   ? (z - r) / (z + r)
                                  : parameter == 'z' ? (second ? z : z / r)
                                                     : (second ? 1.0 / z : r / z);
            for (const char* form : {"MA", "dB", "ri"}) {
                const std::string what = form;
                const double degrees = std::arg(value) * 180 / std::numbers::pi;
                const double a = what == "ri"   ? value.real()
                                 : what == "MA" ? std::abs(value)
                                                : 20 * std::log10(std::abs(value));
                const double b = what == "ri" ? value.imag() : degrees;
                for (const auto& [unit, hertz] :
                     {std::pair{"Hz", 1.0}, std::pair{"kHz", 1e3}, std::pair{"MHZ", 1e6}, std::pair{"ghz", 1e9}}) {
                    const std::string options = fmt::format("# {} {} {} r {}", option_name(parameter), form, unit, r);
                    const std::string point = fmt::format("{} {} {}", 61.5e3 / hertz, a, b);
                    const std::string text =
                        second ? fmt::format(
                                     "! a comment\r\n[VERSION] 2.0\r\n{}\r\n[number of ports]  1\r\n"
                                     "[Number of Frequencies] 1\r\n[Begin Information]\r\n[Manufacturer] x\r\n"
                                     "[End Information]\r\n[Network Data]\r\n{} ! end of line\r\n[End]\r\n",
                                     options, point)
                               : fmt::format("!\n\n {} ! as written\n\n\t{}\n! last", options, point);
                    SCOPED_TRACE(text);
                    // 1e-11: rounding, and S near 1 loses |Z|/(2R) of its digits.
                    expect_curve(parse_touchstone(text, "file"), 61.5e3, z, 1e-11);
                }
            }
        }
    }
}

TEST(TouchstoneImport, DefaultsAndReferenceOfTheSecondVersion) {
    // Defaults of the specification: GHz S MA R 50.
    expect_curve(parse_touchstone("#\n0.001 0.5 0\n", "f"), 1e6, 150, 1e-12);
    const char* below =
        "[Version] 2.0\n# kHz S RI R 50\n[Number of Ports] 1\n[Reference]\n 200\n[Number of Frequencies] 1\n"
        "[Network Data]\n1 0.5 0\n[End]\n";
    expect_curve(parse_touchstone(below, "f"), 1e3, 600, 1e-12);
    // A point at direct current and an open circuit have no place on our curve; further option lines do not count.
    expect_curve(parse_touchstone("# Hz S RI\n0 1 0\n1 1 0\n# GHz Z\n2 0 0\n", "f"), 2, 50, 1e-12);
}

struct Lie {
    const char* text;
    const char* says;
};

TEST(TouchstoneImport, WhatIsWrongIsSaidWithItsLine) {
    for (const Lie& lie : std::vector<Lie>{
             {"", "line 0: no points"},
             {"! nothing\n# Hz Z RI\n", "line 2: no points"},
             {"1 2 3\n", "line 1: data before the option line"},
             {"# Hz Z RI\n1 2 3\n1 2 3\n", "line 3: the frequency does not rise"},
             {"# Hz Z RI\n1 2\n", "line 2: 2 words"},
             {"# Hz Z RI\n1 2 3 4 5 6 7 8 9\n", "line 2: 9 words"},
             {"# Hz Z RI\n1 2,5 3\n", "line 2: \"2,5\" is not a number"},
             {"# Hz Z RI\n1 nan 3\n", "line 2: \"nan\" is not a number"},
             {"# Hz Z RI\n1 0x10 3\n", "line 2: \"0x10\" is not a number"},
             {"# Hz Z RI\n1 1e999 3\n", "line 2: \"1e999\" is not a number"},
             {"# Hz Z RI\n-1 2 3\n", "line 2: the frequency is negative"},
             {"# Hz H RI\n1 2 3\n", "line 1: parameters H belong to two ports"},
             {"# Hz Z RI R 0\n1 2 3\n", "line 1: R must be followed"},
             {"# Hz Z RI R 50 75\n1 2 3\n", "line 1: references of several ports"},
             {"# Hz Q RI\n", "line 1: \"Q\" is not known"},
             {"[Version] 3.0\n", "line 1: version \"3.0\""},
             {"# Hz\n[Version] 2.0\n", "line 2: [Version] must come first"},
             {"[Number of Ports] 1\n", "line 1: keywords belong to version 2"},
             {"[Version] 2.0\n# Hz\n[Number of Ports] 2\n", "line 3: only one-port"},
             {"[Version] 2.0\n# Hz\n[Number of Ports] 1\n[Number of Frequencies] 1e9\n", "line 4: [Number of Freq"},
             {"[Version] 2.0\n# Hz\n[Network Data]\n", "line 3: [Network Data] before"},
             {"[Version] 2.0\n# Hz\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Network Data]\n1 0 0\n[End]\n",
              "line 7: 1 points, but [Number of Frequencies] says 2"},
             {"[Version] 2.0\n# Hz\n[Number of Ports] 1\n[Number of Frequencies] 1\n[Network Data]\n1 0 0\n",
              "line 6: [End] is missing"},
             {"[Version] 2.0\n[Oops\n", "line 2: a keyword without its closing bracket"},
             {"[Version] 2.0\n[Noise Data]\n", "line 2: keyword \"noise data\" is not known"},
             {"[Version] 2.0\n[Begin Information]\n", "line 2: [End Information] is missing"},
             {"[Version] 2.0\n# Hz\n[Reference]\n[End]\n", "line 4: [Reference] has no value"},
         }) {
        const auto curve = parse_touchstone(lie.text, "lie.s1p");
        ASSERT_FALSE(curve.ok()) << lie.text;
        EXPECT_EQ(curve.error().message.rfind("lie.s1p: line ", 0), 0U) << curve.error().message;
        EXPECT_NE(curve.error().message.find(lie.says), std::string::npos) << curve.error().message;
        EXPECT_EQ(curve.error().message.find('\n'), std::string::npos);
    }
}

TEST(TableImport, HeadersAsPeopleWriteThem) {
    const Complex z(3, -4);  // ohm; 1/z = 0.12 + 0.16j siemens
    for (const char* text : {
             "frequency_hz,re_ohm,im_ohm\n1000,3,-4\n",
             "# made elsewhere\n\nFrequency (kHz), Re(Z) (ohm), Im(Z) (ohm)\n1, 3, -4\n",
             "f/Hz;R/Ohm;X/Ohm\n1000;3,0;-4,0\n",
             "\xEF\xBB\xBF"
             "f [MHz]\tR [k\u2126]\tX [k\u2126]\n0.001\t0.003\t-0.004\n",
             "\"note, any\",\"freq_khz\",\"real_mohm\",\"imag_mohm\"\nhello,1,3e3,-4e3\n",
             "conductance_s,susceptance_s,frequency_hz\n0.12,0.16,1e3\n",
             "f_hz,g_ms,b_ms\n1e3,120,160\n",
             "f_hz,g_mS,b_uS\n1e3,120,160000\n",
             "frequency_hz,|Z| (ohm),phase (deg)\n1000,5,-53.13010235415598\n",
             "frequency_hz,impedance_ohm,phase_rad\n1000,+5,-0.9272952180016122\n",
             "frequency_hz,resistance_ohm,reactance_ohm,standard_deviation_ohm,impedance_ohm,phase_deg\n1000,3,-4,,5,"
             "0\n",
         }) {
        SCOPED_TRACE(text);
        const auto curve = parse_csv(text, "table");
        expect_curve(curve, 1e3, z, 1e-12);
        EXPECT_TRUE(curve->standard_deviation_ohm.empty());
    }
    const auto with = parse_csv("frequency_hz,re_ohm,im_ohm,standard_deviation_ohm\n1,2,3,0.5\n2,2,3,\n", "t");
    ASSERT_TRUE(with.ok());
    EXPECT_EQ(with->standard_deviation_ohm.at(0), 0.5);
    EXPECT_TRUE(std::isnan(with->standard_deviation_ohm.at(1)));
}

TEST(TableImport, WhatIsWrongIsSaidWithItsLine) {
    for (const Lie& lie : std::vector<Lie>{
             {"", "line 0: no header"},
             {"1,2,3\n", "line 1: a number where the header should be"},
             {"frequency_hz,re_ohm,im_ohm\n", "line 1: no rows"},
             {"frequency,re_ohm,im_ohm\n1,2,3\n", "line 1: column \"frequency\" has no unit"},
             {"frequency_hz,re,im\n1,2,3\n", "line 1: column \"re\" has no unit"},
             {"frequency_hz,re_ohm\n1,2\n", "line 1: no impedance or admittance"},
             {"frequency_hz,re_ohm,im_s\n1,2,3\n", "line 1: no impedance or admittance"},
             {"re_ohm,im_ohm\n1,2\n", "line 1: no column of frequencies"},
             {"frequency_hz,re_MOHM,im_MOHM\n1,2,3\n", "line 1: column \"re_MOHM\" has no unit"},
             {"frequency_hz,re_ohm,im_ohm\n1,2\n", "line 2: 2 cells, but the header has 3"},
             {"frequency_hz,re_ohm,im_ohm\n1,2,x\n", "line 2: \"x\" is not a number"},
             {"frequency_hz,re_ohm,im_ohm\n1,2,\n", "line 2: \"\" is not a number"},
             {"frequency_hz,re_ohm,im_ohm\n2,2,3\n1,2,3\n", "line 3: frequencies must"},
             {"frequency_hz,re_ohm,im_ohm\n0,2,3\n", "line 2: frequencies must"},
             {"frequency_hz,re_s,im_s\n1,0,0\n", "line 2: an admittance of 0"},
             {"frequency_hz,re_ohm,\"im_ohm\n", "line 1: a quotation mark is not closed"},
         }) {
        const auto curve = parse_csv(lie.text, "lie.csv");
        ASSERT_FALSE(curve.ok()) << lie.text;
        EXPECT_NE(curve.error().message.find(lie.says), std::string::npos) << curve.error().message;
        EXPECT_EQ(curve.error().message.find('\n'), std::string::npos);
    }
}

// Good files with bytes changed, cut, doubled and shuffled: never a crash, never a curve that is none, an error in one
// line. The number of rounds bounds the time, about a second.
TEST(HostileImports, AnythingIsReadOrRefused) {
    const std::vector<std::string> seeds = {
        "# MHz Z MA R 75\n100 0.99  -4\n200 0.80  -22\n300 0.707 -45\n",
        "[Version] 2.0\n# Hz S RI\n[Number of Ports] 1\n[Number of Frequencies] 2\n[Reference] 20\n[Network Data]\n"
        "1 0.5 0.5\n2 0.4 0.1\n[End]\n",
        "frequency_hz,re_ohm,im_ohm\n1000,3,-4\n2000,4,-5\n",
        "f / kHz;\"R / \u2126\";X / \u2126\n1,0;3,5;-4,5\n2;4;5\n"};
    const std::string bytes = "#![]\"',;.\t \r\n0123456789eE+-\xC3\xA9\xFF\x01nanRZSYgHzkM";
    std::mt19937 random(20);
    const auto below = [&](std::size_t n) { return std::uniform_int_distribution<std::size_t>(0, n - 1)(random); };
    std::size_t read = 0, refused = 0;
    for (int round = 0; round < 20000; ++round) {
        std::string text = seeds[below(seeds.size())];
        for (std::size_t change = 1 + below(6); change > 0 && !text.empty(); --change) {
            const std::size_t at = below(text.size());
            switch (below(5)) {
                case 0:
                    text[at] = bytes[below(bytes.size())];
                    break;
                case 1:
                    text.insert(at, 1, bytes[below(bytes.size())]);
                    break;
                case 2:
                    text.erase(at, 1 + below(5));
                    break;
                case 3:
                    text.insert(at, text.substr(below(text.size()), below(30)));
                    break;
                default:
                    if (below(4) == 0) text.resize(at);
            }
        }
        for (const auto& curve : {parse_touchstone(text, "x"), parse_csv(text, "x")}) {
            if (!curve) {
                ++refused;
                ASSERT_EQ(curve.error().message.find('\n'), std::string::npos) << text;
                continue;
            }
            ++read;
            ASSERT_EQ(curve->frequency_hz.size(), curve->impedance_ohm.size());
            double before = 0;
            for (std::size_t k = 0; k < curve->frequency_hz.size(); ++k) {
                ASSERT_GT(curve->frequency_hz[k], before) << text;
                before = curve->frequency_hz[k];
                ASSERT_TRUE(std::isfinite(std::abs(curve->impedance_ohm[k])) ||
                            std::abs(curve->impedance_ohm[k]) > 1e300);
            }
        }
    }
    EXPECT_GT(read, 100U);  // the changes are not so coarse that nothing is ever read
    EXPECT_GT(refused, 10000U);
}

TEST(HostileImports, FilesAreRefusedByName) {
    const testing::ScratchFolder folder;
    const auto says = [&](const std::filesystem::path& path) {
        const auto curve = read_response(path);
        EXPECT_FALSE(curve.ok());
        return curve.ok() ? std::string() : curve.error().message;
    };
    EXPECT_NE(says(folder / "gone.s1p").find("gone.s1p"), std::string::npos);
    EXPECT_NE(says(folder.put("a.xls", "x")).find("a.xls: a response ends in"), std::string::npos);
    EXPECT_NE(says(folder.put("a.json", "{\"schema\": 1}")).find("a.json: not a result"), std::string::npos);
    EXPECT_NE(says(folder.path()).find("a response ends in"), std::string::npos);
    // One line of 60 MiB: read and refused, without more memory than the file takes.
    EXPECT_NE(says(folder.put("long.csv", std::string(60U << 20U, ','))).find("columns"), std::string::npos);
    std::string numbers = "# Hz Z RI\n";
    for (int k = 0; k < (20 << 20); ++k) numbers += "1 ";
    EXPECT_NE(says(folder.put("row.s1p", numbers)).find("line 2: 64 words"), std::string::npos);
    EXPECT_NE(says(folder.put("longer.s1p", std::string(65U << 20U, '!'))).find("longer.s1p"), std::string::npos);
}

}  // namespace
}  // namespace coldtune::share
