// Wire against standards, printed tables and independent calculations; sources beside each block.
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "analyzer/model/wire.hpp"
#include "analyzer/model/wire_gauge.hpp"
#include "tests/support/tabulated.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;
using std::numbers::sqrt2;

TEST(SkinEffectTable, CircularSeventyFour) {
    // Argument x of NBS Circular 74, tables 17 and 18 (the table from memory, printed to four digits: 5e-4); the values
    // to seven digits computed independently from Kelvin's solution with scipy's scaled Bessel functions: 1e-6.
    constexpr std::array<Tabulated, 21> table{
        {{0.5, 1.000325}, {1, 1.005187},   {1.5, 1.025824}, {2, 1.078159},  {2.5, 1.175379}, {3, 1.318095},
         {3.5, 1.492019}, {4, 1.677869},   {4.5, 1.862752}, {5, 2.042725},  {6, 2.393590},   {7, 2.743190},
         {8, 3.094446},   {10, 3.798576},  {15, 5.562079},  {20, 7.327672}, {25, 9.094126},  {30, 10.861014},
         {40, 14.395447}, {50, 17.930320}, {100, 35.606665}}};
    for (const auto& [x, ratio] : table) {
        EXPECT_NEAR(skin_effect_ratio_of_x(x) / ratio, 1, 1e-6) << x;
    }
}

TEST(SkinEffectTable, ByRadiusOverSkinDepth) {
    // Computed independently; five decimals.
    constexpr std::array<Tabulated, 8> table{{{1, 1.02049},
                                              {2, 1.26464},
                                              {3, 1.76813},
                                              {4, 2.27380},
                                              {5, 2.76811},
                                              {6, 3.26519},
                                              {7, 3.76317},
                                              {8, 4.26157}}};
    for (const auto& [radii, ratio] : table) EXPECT_NEAR(skin_effect_ratio_of_x(sqrt2 * radii), ratio, 5.1e-6) << radii;
}

TEST(SkinEffectTable, InternalInductance) {
    // Computed independently; five decimals.
    constexpr std::array<Tabulated, 6> table{
        {{1, 0.99741}, {2, 0.96114}, {3, 0.84517}, {5, 0.55597}, {10, 0.28162}, {20, 0.14128}}};
    for (const auto& [x, ratio] : table) EXPECT_NEAR(internal_inductance_ratio_of_x(x), ratio, 5.1e-6) << x;
}

TEST(SkinEffectTable, NeherAndMcGrath) {
    // J. H. Neher, M. H. McGrath, AIEE Trans. 76 III, 752 (1957), Table III: 10.05 % more resistance at x = 2.14; read
    // in a secondary copy. Half a unit of its last digit.
    EXPECT_NEAR(skin_effect_ratio_of_x(2.14) - 1, 0.1005, 5e-5);
}

TEST(SkinEffectTable, Terman) {
    // F. E. Terman, Radio Engineers' Handbook: ratio 3.35 for AWG 10 (0.1019 in) at 0.1 MHz; read in a quotation that
    // also has 3.36, so both must lie within a unit. With IEC copper 3.3611, computed independently.
    const double ratio = skin_effect_ratio(0.1019 * 0.0254, 1e5, copper_resistivity_ohm_m(20));
    EXPECT_NEAR(ratio, 3.355, 0.01);
    EXPECT_NEAR(ratio, 3.3611, 5.1e-5);
}

TEST(SkinDepth, OfStandardCopper) {
    // Skin depth of IEC copper, computed independently: 1 kHz 2.08979 mm .. 1 MHz 66.085 um. A wire of one skin depth
    // radius has x = sqrt2.
    constexpr std::array<Tabulated, 4> table{
        {{1e3, 2.08979e-3}, {1e4, 0.660848e-3}, {1e5, 0.208978e-3}, {1e6, 66.085e-6}}};
    for (const auto& [frequency, depth] : table) {
        // The ratio moves by 0.15 of the relative change of the depth, known to 5e-6.
        EXPECT_NEAR(skin_effect_ratio(2 * depth, frequency, copper_resistivity_ohm_m(20)), 1.020492, 3e-6) << frequency;
    }
}

TEST(MedhurstProximity, InfiniteRowIsTheExactGrating) {
    // An infinite grating of perfectly conducting cylinders with the field on one side, a two-dimensional potential
    // problem solved independently to twelve digits. Medhurst's last row (Wireless Engineer 24, 1947; read in a
    // secondary copy) is printed to two decimals, three where the third is a 5; half a hundredth, between its columns
    // too. The worst is 0.7, printed 2.51 where 2.515026 would round to 2.52: hence 5.03e-3.
    const double infinite = std::numeric_limits<double>::infinity();
    constexpr std::array<Tabulated, 11> grating{{{0.1, 1.048681},
                                                 {0.2, 1.187180},
                                                 {0.3, 1.395918},
                                                 {0.4, 1.650658},
                                                 {0.5, 1.930142},
                                                 {0.6, 2.220454},
                                                 {0.7, 2.515026},
                                                 {0.8, 2.811789},
                                                 {0.9, 3.110262},
                                                 {0.95, 3.260070},
                                                 {0.99, 3.380168}}};
    for (const auto& [fill, factor] : grating) EXPECT_NEAR(proximity_factor(infinite, fill), factor, 5.03e-3) << fill;
}

TEST(MedhurstProximity, ExactAtItsNodes) {
    // The printed table, read in a secondary copy; columns wire over pitch 1.0 down to 0.1. The entry (0, 0.4) is left
    // out: 1.20 in the copy, 1.26 from memory.
    constexpr std::array<double, 11> rows{0, 0.2, 0.4, 0.6, 0.8, 1, 2, 4, 6, 8, 10};
    constexpr double table[11][10] = {
        {5.31, 3.73, 2.74, 2.12, 1.74, 1.44, 0, 1.16, 1.07, 1.02},
        {5.45, 3.84, 2.83, 2.20, 1.77, 1.48, 1.29, 1.19, 1.08, 1.02},
        {5.65, 3.99, 2.97, 2.28, 1.83, 1.54, 1.33, 1.21, 1.08, 1.03},
        {5.80, 4.11, 3.10, 2.38, 1.89, 1.60, 1.38, 1.22, 1.10, 1.03},
        {5.80, 4.17, 3.20, 2.44, 1.92, 1.64, 1.42, 1.23, 1.10, 1.03},
        {5.55, 4.10, 3.17, 2.47, 1.94, 1.67, 1.45, 1.24, 1.10, 1.03},
        {4.10, 3.36, 2.74, 2.32, 1.98, 1.74, 1.50, 1.28, 1.13, 1.04},
        {3.54, 3.05, 2.60, 2.27, 2.01, 1.78, 1.54, 1.32, 1.15, 1.04},
        {3.31, 2.92, 2.60, 2.29, 2.03, 1.80, 1.56, 1.34, 1.16, 1.04},
        {3.20, 2.90, 2.62, 2.34, 2.08, 1.81, 1.57, 1.34, 1.165, 1.04},
        {3.23, 2.93, 2.65, 2.37, 2.10, 1.83, 1.58, 1.35, 1.17, 1.04},
    };
    for (std::size_t row = 0; row < rows.size(); ++row) {
        for (std::size_t column = 0; column < 10; ++column) {
            if (table[row][column] == 0) continue;
            const double fill = 1 - 0.1 * static_cast<double>(column);
            // Rounding of the node's own coordinate (1 - 0.1 n) times the table's steepest slope, 16.
            EXPECT_NEAR(proximity_factor(rows[row], fill), table[row][column], 1e-13) << rows[row] << ' ' << fill;
        }
    }
}

TEST(Copper, International) {
    // IEC 60028:1925 (also NBS Handbook 100, 1966): 1/58 uohm m at 20 C, read in a secondary copy; 0.00393 per kelvin
    // from memory.
    EXPECT_DOUBLE_EQ(copper_resistivity_ohm_m(20), 1 / 58e6);
    EXPECT_NEAR(copper_resistivity_ohm_m(20), 0.017241e-6, 5e-13);
    EXPECT_NEAR(copper_resistivity_ohm_m(21) / copper_resistivity_ohm_m(20) - 1, 0.00393, 1e-12);
}

TEST(WireGauge, StandardSizes) {
    // ASTM B258 (its formula read in a secondary copy): millimetres computed independently to five decimals; gauges 36
    // and 0000 exact by definition, 0.005 in and 0.46 in.
    constexpr std::array<Tabulated, 15> table{{{0, 8.25146},
                                               {10, 2.58819},
                                               {12, 2.05253},
                                               {16, 1.29085},
                                               {18, 1.02369},
                                               {20, 0.81182},
                                               {22, 0.64380},
                                               {24, 0.51056},
                                               {26, 0.40489},
                                               {28, 0.32109},
                                               {30, 0.25464},
                                               {32, 0.20194},
                                               {34, 0.16014},
                                               {36, 0.12700},
                                               {40, 0.07987}}};
    for (const auto& [gauge, millimetres] : table)
        EXPECT_NEAR(awg_diameter_m(gauge) * 1e3, millimetres, 5.1e-6) << gauge;
    EXPECT_NEAR(awg_diameter_m(-3), 0.46 * 0.0254, 1e-15);
    // The printed sizes are rounded to a tenth of a mil: half a per cent for the thin ones.
    EXPECT_NEAR(awg_diameter_m(20) / 0.0254, 0.0320, 0.005 * 0.0320);
    EXPECT_NEAR(awg_diameter_m(24) / 0.0254, 0.0201, 0.005 * 0.0201);
    EXPECT_NEAR(awg_diameter_m(30) / 0.0254, 0.0100, 0.005 * 0.0100);
}

TEST(WireGauge, ResistancePerKilometre) {
    // Ohm per kilometre at 20 C, computed independently with 1/58; the digits given. A winding of one kilometre: a
    // helix so flat that its pitch does not count.
    constexpr std::array<Tabulated, 5> table{{{10, 3.2771}, {20, 33.309}, {24, 84.215}, {30, 338.56}, {36, 1361.05}}};
    for (const auto& [gauge, ohms] : table) {
        Winding w;
        w.diameter_m = 1 / pi;
        w.turns = 1000;
        w.length_m = 1e-6;
        w.wire_diameter_m = awg_diameter_m(gauge);
        EXPECT_NEAR(winding_dc_resistance_ohm(w) / ohms, 1, 2e-5) << gauge;  // half a unit of five digits
    }
}

}  // namespace
}  // namespace coldtune::model
