// The calculated value against coils other people measured. No parameter of the model was fitted to any of them.
//
// Sources, read in the source (list posts and a web page, not peer reviewed):
//  N1, N4: P. Nicholson, post of February 2001 (pupman.com list archives 2001/February, msg00090), re-tabulated by
//          K. Schraner (msg00141): bare, foot grounded, over 'a reasonably well defined ground'.
//  S1..S4: K. Schraner, msg00141: bare, foot grounded, in an uncontrolled room; the author doubts the surroundings.
//  K1, K3: A. Pettit (KK4VB), reported by D. W. Knight, g3ynh.info: free coil, both ends open, half wave.
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "analyzer/model/handbook.hpp"
#include "analyzer/model/inductance.hpp"
#include "analyzer/model/secondary.hpp"
#include "analyzer/model/secondary_modes.hpp"
#include "analyzer/model/wire_gauge.hpp"

namespace coldtune::model {
namespace {

struct MeasuredCoil {
    const char* name;
    double turns, length_m, diameter_m, base_height_m, gauge;
    double measured_hz;
};

constexpr std::array<MeasuredCoil, 2> kOverGround{
    {{"N1", 725, 1.6, 0.58, 0.15, 12, 90.9e3}, {"N4", 1700, 1.07696, 0.1081, 0.3302, 24, 276.9e3}}};
constexpr std::array<MeasuredCoil, 4> kInARoom{{{"S1", 821, 1.768, 0.4013, 0.7, 17.162, 119e3},
                                                {"S2", 1950, 1.41, 0.1633, 0.5, 22.053, 147.7e3},
                                                {"S3", 921, 0.585, 0.1207, 0.2, 22, 368e3},
                                                {"S4", 979, 0.68, 0.2, 0.5, 22, 202.7e3}}};

CoilDescription describe(const MeasuredCoil& measured) {
    CoilDescription coil;
    coil.name = measured.name;
    // S3's gauge is 1.4 % thicker than the pitch its own length and turns leave: the wire then fills the pitch. The
    // thickness enters the inductance through a logarithm only.
    const double pitch = measured.length_m / measured.turns;
    coil.secondary = {.diameter_m = measured.diameter_m,
                      .length_m = measured.length_m,
                      .turns = measured.turns,
                      .wire_diameter_m = std::min(awg_diameter_m(measured.gauge), pitch),
                      .base_height_m = measured.base_height_m,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    return coil;
}

Calculated calculated(const MeasuredCoil& measured) {
    const auto result = calculate(describe(measured));
    if (!result) throw std::runtime_error(result.error().message);
    return *result;
}

TEST(MeasuredCoils, OverAGroundWithinThreePercent) {
    for (const MeasuredCoil& coil : kOverGround) {
        const Calculated value = calculated(coil);
        // Tolerance: dimensions are given to about 1 % (the frequency moves as much), the ground is not described
        // further, and list data carry no uncertainty of their own.
        EXPECT_NEAR(value.frequency_hz / coil.measured_hz, 1, 0.03) << coil.name;
        // What the program prints must cover the measurement.
        EXPECT_LT(std::abs(value.frequency_hz - coil.measured_hz), value.frequency_u95_hz) << coil.name;
    }
}

TEST(MeasuredCoils, LumpedFormulaFailsTheTallOne) {
    // The lumped handbook value (Nagaoka, Rosa, Medhurst's table) is 11.5 % low for N4, ten diameters tall: the reason
    // for a distributed model. One per cent for the spread of its ingredients.
    EXPECT_NEAR(calculated(kOverGround[1]).handbook.frequency_hz / kOverGround[1].measured_hz, 1 - 0.115, 0.01);
}

TEST(MeasuredCoils, InARoomNeverBelowAndAtMostTwelvePercentAbove) {
    // Walls, benches and people only add capacitance, so a prediction without them must be high; 12 % in frequency is a
    // quarter of the capacitance.
    for (const MeasuredCoil& coil : kInARoom) {
        const double ratio = calculated(coil).frequency_hz / coil.measured_hz;
        EXPECT_GE(ratio, 1.0) << coil.name;
        EXPECT_LE(ratio, 1.12) << coil.name;
    }
}

double half_wave_hz(double turns, double length_m, double diameter_m) {
    CoilDescription coil;
    coil.secondary = {.diameter_m = diameter_m,
                      .length_m = length_m,
                      .turns = turns,
                      .wire_diameter_m = 1.83e-3,
                      .base_height_m = 0,
                      .temperature_c = 20,
                      .overall_wire_diameter_m = {}};
    coil.surroundings.ground = false;
    const auto model = SecondaryModel::build(coil);
    if (!model) throw std::runtime_error(model.error().message);
    return free_resonances_hz(model->branch_inductance_h(), model->node_capacitance_f()).front();
}

TEST(MeasuredCoils, FreeHalfWave) {
    // One wire of 3.561 m, 1.83 mm thick. K3 stretched to 323.9 mm at 37.1 mm diameter: 67.8 MHz. 4 %: thirty turns
    // spaced by six wire diameters stand for a tube, and the dimensions are given to three digits.
    EXPECT_NEAR(half_wave_hz(30.4, 323.9e-3, 37.1e-3) / 67.8e6, 1, 0.04);
    // K1, close wound on polythene, 37.0 MHz: fields between turns and in the rod are not in the model, so it may only
    // be high.
    EXPECT_GT(half_wave_hz(30.6, 62.2e-3, 37.07e-3), 37.0e6);
}

TEST(MeasuredCoils, MedhurstsTable) {
    // R. G. Medhurst, Wireless Engineer 24 (1947), table read in a secondary copy, stated to 5 % in C (secondary copy).
    // Our arrangement: foot grounded, one tenth of a diameter above a plane; C from the first mode and the
    // low-frequency inductance, as he used it. Up to five diameters the two agree to 8 % in C: his 5 %, and 2 to 7 %
    // that raising the coil from a tenth to one diameter moves ours by, for his table does not say how it stood.
    // Beyond, his table rises faster: at ten diameters it lies as far above ours as it lies off the measured N4.
    const auto capacitance_ratio = [](double length_over_diameter) {
        MeasuredCoil coil{"", 0, 0.1 * length_over_diameter, 0.1, 0.01, 0, 1};
        coil.turns = coil.length_m / 0.5e-3;
        CoilDescription description = describe(coil);
        description.secondary.wire_diameter_m = 0.4e-3;
        const auto model = SecondaryModel::build(description);
        if (!model) throw std::runtime_error(model.error().message);
        const double omega = 2 * std::numbers::pi * model->modes_hz()[0];
        const double c = 1 / (omega * omega * winding_inductance_h(description.secondary));
        return c / (coil.diameter_m * medhurst_f_per_m(length_over_diameter));
    };
    for (const double ratio : {1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0}) {
        EXPECT_NEAR(capacitance_ratio(ratio), 1, 0.08) << ratio;
    }
    EXPECT_NEAR(1 / std::sqrt(capacitance_ratio(10)), 276.9 / 245.0, 0.03);
}

}  // namespace
}  // namespace coldtune::model
