// Exported responses under other readers: scikit-rf for Touchstone, Python's csv module for tables; and the examples of
// the Touchstone specification under our reader.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <complex>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "analyzer/share/response_csv.hpp"
#include "analyzer/share/touchstone.hpp"
#include "tests/support/comma_locale.hpp"
#include "tests/support/process.hpp"
#include "tests/support/scipy_python.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::share {
namespace {

using Json = nlohmann::json;
using Complex = std::complex<double>;

// A coil seen from its foot: 62 kHz, Q 150, over nearly two decades; no value is round.
measure::Curve coil_curve() {
    measure::Curve curve;
    for (int k = 0; k < 400; ++k) {
        const double f = 1e3 * std::pow(86.4, k / 399.0);
        const double u = 150 * (f / 62e3 - 62e3 / f);
        const Complex y = Complex(0, 6.283185307e0 * f * 8.1e-12) + 1.0 / (157.3 * Complex(1, u));
        curve.frequency_hz.push_back(f);
        curve.impedance_ohm.push_back(1.0 / y);
        curve.standard_deviation_ohm.push_back(1e-4 * std::abs(1.0 / y));
    }
    return curve;
}

std::vector<Json> read_elsewhere(const testing::ScratchFolder& folder, const std::vector<std::string>& files) {
    const std::string python = testing::scipy_python();
    EXPECT_NE(python, "") << testing::no_scipy_python;
    std::vector<std::string> arguments = {python, std::string(COLDTUNE_SOURCE_DIR) + "/tests/outside/read_responses.py",
                                          (folder / "found.json").string()};
    arguments.insert(arguments.end(), files.begin(), files.end());
    const testing::Outcome outcome = testing::run(arguments, std::chrono::seconds(120));
    EXPECT_EQ(outcome.code, 0) << "python3-scikit-rf is installed by ./tests/run; it said: " << outcome.errors;
    std::vector<Json> found;
    std::ifstream in(folder / "found.json");
    for (std::string line; std::getline(in, line);) found.push_back(Json::parse(line));
    EXPECT_EQ(found.size(), files.size());
    return found;
}

double far_apart(Complex a, Complex b) {
    return std::abs(a - b) / std::abs(b);
}

TEST(ExportedResponses, ScikitRfReadsBothVersionsAndBothParameters) {
    const testing::ScratchFolder folder;
    const measure::Curve curve = coil_curve();
    const std::vector<std::string> comments = {"Written by a test", "From nowhere"};
    std::vector<std::string> files;
    std::vector<TouchstoneOptions> options;
    {
        const testing::CommaLocale elsewhere;  // written where a comma is the decimal point
        for (const auto version : {TouchstoneVersion::v1_0, TouchstoneVersion::v2_0}) {
            for (const auto parameter : {NetworkParameter::scattering, NetworkParameter::impedance}) {
                for (const double reference : {50.0, 10e3, 75.5}) {
                    options.push_back({version, parameter, reference});
                    const auto text = touchstone_text(curve, options.back(), comments);
                    ASSERT_TRUE(text.ok()) << text.error().message;
                    const std::string name =
                        fmt::format("{}{}", files.size(), version == TouchstoneVersion::v1_0 ? ".s1p" : ".ts");
                    files.push_back(folder.put(name, *text).string());
                }
            }
        }
    }
    const std::vector<Json> found = read_elsewhere(folder, files);
    ASSERT_EQ(found.size(), files.size());
    for (std::size_t n = 0; n < files.size(); ++n) {
        SCOPED_TRACE(files[n]);
        const Json& j = found[n];
        const bool first = options[n].version == TouchstoneVersion::v1_0;
        const bool scattering = options[n].parameter == NetworkParameter::scattering;
        const double r = options[n].reference_ohm;
        EXPECT_EQ(j.at("version"), first ? "1.0" : "2.0");
        EXPECT_EQ(j.at("parameter"), scattering ? "s" : "z");
        EXPECT_EQ(j.at("reference"), r);
        ASSERT_EQ(j.at("frequency_hz").size(), curve.frequency_hz.size());
        for (std::size_t k = 0; k < curve.frequency_hz.size(); ++k) {
            const Complex z = curve.impedance_ohm[k];
            const Complex read(j.at("real")[k].get<double>(), j.at("imaginary")[k].get<double>());
            EXPECT_EQ(j.at("frequency_hz")[k].get<double>(), curve.frequency_hz[k]);  // every digit
            // Specification 2.1, pages 8 and 15: Z is divided by R in version 1 and is not in version 2.
            const Complex expected = scattering ? (z - r) / (z + r) : first ? z / r : z;
            EXPECT_LT(far_apart(read, expected), 1e-12) << k;  // the stated agreement
            if (scattering) {
                // The other program's own way back from S to Z. Near an open circuit 1 - S loses digits: the error of S
                // grows by |Z| / (2 R) of a rounding and somewhat more.
                const Complex back(j.at("z_real")[k].get<double>(), j.at("z_imaginary")[k].get<double>());
                EXPECT_LT(far_apart(back, z), 1e-12 + 1e-15 * (std::abs(z) / r + r / std::abs(z))) << k;
            }
        }
    }
}

TEST(ExportedResponses, TheCsvModuleReadsTheTable) {
    const testing::ScratchFolder folder;
    measure::Curve curve = coil_curve();
    std::string text;
    {
        const testing::CommaLocale elsewhere;
        const auto written = csv_text(curve);
        ASSERT_TRUE(written.ok()) << written.error().message;
        text = *written;
    }
    const auto found = read_elsewhere(folder, {folder.put("table.csv", text).string()});
    ASSERT_EQ(found.size(), 1U);
    const Json& j = found[0];
    for (std::size_t k = 0; k < curve.frequency_hz.size(); ++k) {
        const Complex z = curve.impedance_ohm[k];
        EXPECT_EQ(j.at("frequency_hz")[k], curve.frequency_hz[k]);
        EXPECT_EQ(j.at("resistance_ohm")[k], z.real());
        EXPECT_EQ(j.at("reactance_ohm")[k], z.imag());
        EXPECT_EQ(j.at("standard_deviation_ohm")[k], curve.standard_deviation_ohm[k]);
        // 1e-12: rounding.
        EXPECT_NEAR(j.at("impedance_ohm")[k].get<double>() / std::abs(z), 1, 1e-12);
        const Complex y(j.at("conductance_s")[k].get<double>(), j.at("susceptance_s")[k].get<double>());
        EXPECT_LT(far_apart(y * z, 1.0), 1e-12);
    }
    // And the table of a response without standard deviations.
    curve.standard_deviation_ohm.clear();
    const auto bare = csv_text(curve);
    ASSERT_TRUE(bare.ok());
    EXPECT_TRUE(
        read_elsewhere(folder, {folder.put("bare.csv", *bare).string()})[0].at("standard_deviation_ohm")[0].is_null());
}

// Examples 9, 10 and 11 of the specification 2.1 (IBIS Open Forum, January 2024), read there.
TEST(ExportedResponses, TheSpecificationsOwnExamplesAreRead) {
    const std::array<double, 5> ohms = {74.25, 60, 53.025, 30, 0.75};
    const std::array<double, 5> degrees = {-4, -22, -45, -62, -89};
    const char* ten =
        "! Example 10\n# MHz Z MA R 75\n100 0.99  -4\n200 0.80  -22\n300 0.707 -45\n400 0.40  -62\n500 0.01  -89\n";
    const char* eleven =
        "[Version] 2.1\n# MHz Z MA\n[Number of Ports] 1\n[Number of Frequencies] 5\n[Reference] 20.0\n[Network Data]\n"
        "100 74.25 -4\n200 60 -22\n300 53.025 -45\n400 30 -62\n500 0.75 -89\n[End]\n";
    for (const char* text : {ten, eleven}) {
        const auto curve = parse_touchstone(text, "example");
        ASSERT_TRUE(curve.ok()) << curve.error().message;
        ASSERT_EQ(curve->frequency_hz.size(), 5U);
        for (std::size_t k = 0; k < 5; ++k) {
            EXPECT_EQ(curve->frequency_hz[k], 100e6 * static_cast<double>(k + 1));
            EXPECT_NEAR(std::abs(curve->impedance_ohm[k]) / ohms[k], 1, 1e-12);  // rounding
            EXPECT_NEAR(std::arg(curve->impedance_ohm[k]) * 180 / M_PI, degrees[k], 1e-9);
        }
    }
    const auto nine = parse_touchstone("# MHz S MA R 50\n2.000 0.894 -12.136\n", "example 9");
    ASSERT_TRUE(nine.ok());
    // Computed with Python from the printed pair: ten digits.
    EXPECT_NEAR(nine->impedance_ohm[0].real(), 196.0761706, 1e-7);
    EXPECT_NEAR(nine->impedance_ohm[0].imag(), -367.1192289, 1e-7);
}

}  // namespace
}  // namespace coldtune::share
