// Limits and consistency of the wire model; its agreement with printed tables is in tests/outside.
#include "analyzer/model/wire.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <numbers>

namespace coldtune::model {
namespace {

Winding thousand_turns() {
    Winding w;
    w.diameter_m = 0.11;
    w.length_m = 0.5;
    w.turns = 1000;
    w.wire_diameter_m = 0.4e-3;
    return w;
}

TEST(Copper, GrowsByItsCoefficientPerKelvin) {
    const double at_20 = copper_resistivity_ohm_m(20);
    // The coefficient is a decimal constant: rounding only.
    EXPECT_NEAR(copper_resistivity_ohm_m(120) / at_20, 1.393, 1e-12);
    EXPECT_NEAR(copper_resistivity_ohm_m(0) / at_20, 1 - 0.0786, 1e-12);
}

TEST(WireLength, IsAHelix) {
    Winding w;
    w.diameter_m = 4 / std::numbers::pi;  // circumference 4, pitch 3: five per turn
    w.length_m = 30;
    w.turns = 10;
    EXPECT_NEAR(wire_length_m(w), 50, 1e-12);
}

TEST(SkinEffect, BothRoutesMeetWhereTheyHandOver) {
    // Continued fraction below 30, expansion above: a step would be seen against the function's own slope, 1/(2 sqrt
    // 2).
    const double below = std::nextafter(30.0, 0.0);
    EXPECT_NEAR(skin_effect_ratio_of_x(30) / skin_effect_ratio_of_x(below), 1, 1e-14);
    EXPECT_NEAR(internal_inductance_ratio_of_x(30) / internal_inductance_ratio_of_x(below), 1, 1e-14);
    EXPECT_NEAR(transverse_field_loss_of_x(30) / transverse_field_loss_of_x(below), 1, 1e-14);
}

TEST(SkinEffect, SmallArgumentsFollowTheSeries) {
    // R/R0 = 1 + x^4/192 - .., Li/Li0 = 1 - x^4/384 + .., G = x^4/64 - ..: next terms are of order x^8, here 1e-8.
    for (const double x : {1e-3, 1e-2, 0.1}) {
        const double x4 = x * x * x * x;
        EXPECT_NEAR(skin_effect_ratio_of_x(x), 1 + x4 / 192, 1e-11) << x;
        EXPECT_NEAR(internal_inductance_ratio_of_x(x), 1 - x4 / 384, 1e-11) << x;
        EXPECT_NEAR(transverse_field_loss_of_x(x) / (x4 / 64), 1, 1e-5) << x;
    }
    EXPECT_EQ(skin_effect_ratio_of_x(0), 1);
    EXPECT_EQ(internal_inductance_ratio_of_x(0), 1);
    EXPECT_EQ(transverse_field_loss_of_x(0), 0);
}

TEST(SkinEffect, LargeArgumentsFollowTheirAsymptotes) {
    // H -> (sqrt2 x + 1)/4 + 3 sqrt2/(32 x)..., G -> (sqrt2 x - 1)/8 (Butterworth's limits, from memory); what is left
    // falls as 1/x, so at x = 1e4 the two agree to 1e-4 absolute.
    const double x = 1e4;
    EXPECT_NEAR(skin_effect_ratio_of_x(x), (std::numbers::sqrt2 * x + 1) / 4, 1e-4);
    EXPECT_NEAR(transverse_field_loss_of_x(x), (std::numbers::sqrt2 * x - 1) / 8, 1e-4);
    EXPECT_TRUE(std::isfinite(skin_effect_ratio_of_x(1e8)));
}

TEST(Proximity, StaysBetweenItsNodesAndNeverFallsWithFillFactor) {
    for (double length = 0; length < 40; length = length * 1.3 + 0.05) {
        double last = 1;
        for (double fill = 0; fill <= 1.0; fill += 0.01) {
            const double phi = proximity_factor(length, fill);
            EXPECT_GE(phi, last - 1e-12) << length << ' ' << fill;
            EXPECT_LE(phi, 5.80) << length << ' ' << fill;  // the largest entry of the table
            last = phi;
        }
    }
}

TEST(Proximity, VeryLongCoilTendsToTheInfiniteRow) {
    const double infinite = proximity_factor(std::numeric_limits<double>::infinity(), 0.8);
    // Linear in 1/(l/D): the last interval of the table spans 0.165 over 1/11.
    EXPECT_NEAR(proximity_factor(1e6, 0.8), infinite, 1e-5);
    EXPECT_NEAR(proximity_factor(1e3, 0.8), infinite, 5e-3);
}

TEST(AcResistance, IsTheDcResistanceWithDirectCurrent) {
    const Winding w = thousand_turns();
    EXPECT_DOUBLE_EQ(winding_ac_resistance_ohm(w, 0), winding_dc_resistance_ohm(w));
    // At 50 Hz x = 0.03: one part in 1e6 of loss at most.
    EXPECT_NEAR(winding_ac_resistance_ohm(w, 50) / winding_dc_resistance_ohm(w), 1, 1e-6);
}

TEST(AcResistance, TendsToMedhurstTimesSkinEffect) {
    const Winding w = thousand_turns();
    const double resistivity = copper_resistivity_ohm_m(w.temperature_c);
    const double phi = proximity_factor(w.length_m / w.diameter_m, w.wire_diameter_m * w.turns / w.length_m);
    for (const double frequency : {1e8, 1e10, 1e12}) {
        const double limit = phi * skin_effect_ratio(w.wire_diameter_m, frequency, resistivity);
        const double ratio = winding_ac_resistance_ohm(w, frequency) / winding_dc_resistance_ohm(w);
        // H - 2G -> 1/2, so the difference tends to (phi - 1)/2 while both grow as sqrt f; 2 % of it for the 1/x rest.
        EXPECT_NEAR(limit - ratio, (phi - 1) / 2, 0.02 * (phi - 1)) << frequency;
    }
}

TEST(AcResistance, GrowsSteadilyWithFrequency) {
    const Winding w = thousand_turns();
    double last = winding_dc_resistance_ohm(w);
    for (double frequency = 100; frequency < 1e8; frequency *= 1.2) {
        const double resistance = winding_ac_resistance_ohm(w, frequency);
        EXPECT_GT(resistance, last) << frequency;
        last = resistance;
    }
}

}  // namespace
}  // namespace coldtune::model
