// The handbook's second opinion: how its pieces are put together. Printed values are in tests/outside.
#include "analyzer/model/handbook.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <vector>

#include "analyzer/model/inductance.hpp"

namespace coldtune::model {
namespace {

CoilDescription coil() {
    CoilDescription c;
    c.secondary.diameter_m = 0.11;
    c.secondary.length_m = 0.5;
    c.secondary.turns = 1000;
    c.secondary.wire_diameter_m = 0.4e-3;
    return c;
}

TEST(Handbook, IsOneLumpedCircuit) {
    CoilDescription c = coil();
    const Handbook bare = handbook_values(c);
    EXPECT_DOUBLE_EQ(bare.inductance_h, winding_inductance_h(c.secondary));
    EXPECT_DOUBLE_EQ(bare.capacitance_f, medhurst_f_per_m(0.5 / 0.11) * 0.11);
    // 2 pi f sqrt(LC) = 1.
    EXPECT_NEAR(2 * std::numbers::pi * bare.frequency_hz * std::sqrt(bare.inductance_h * bare.capacitance_f), 1, 1e-14);

    c.topload = {Toroid{0.4, 0.1, 0.1}};
    const Handbook loaded = handbook_values(c);
    EXPECT_DOUBLE_EQ(loaded.capacitance_f - bare.capacitance_f, isolated_capacitance_f(Toroid{0.4, 0.1, 0.1}));
    EXPECT_LT(loaded.frequency_hz, bare.frequency_hz);
}

TEST(Handbook, AStackIsTheSumOfItsBodies) {
    const std::vector<TopLoadBody> stack{Toroid{0.4, 0.1, 0.1}, Sphere{0.2, 0.3}, Disc{0.3, 0.05}};
    EXPECT_DOUBLE_EQ(isolated_capacitance_f(stack), isolated_capacitance_f(Toroid{0.4, 0.1, 0.1}) +
                                                        isolated_capacitance_f(Sphere{0.2, 0.3}) +
                                                        isolated_capacitance_f(Disc{0.3, 0.05}));
}

TEST(Medhurst, GoesOnWithoutAStepBeyondTheTable) {
    EXPECT_NEAR(medhurst_f_per_m(0.1 * (1 - 1e-9)) / medhurst_f_per_m(0.1), 1, 1e-8);
    EXPECT_NEAR(medhurst_f_per_m(50 * (1 + 1e-9)) / medhurst_f_per_m(50), 1, 1e-8);
    EXPECT_GT(medhurst_f_per_m(0.05), medhurst_f_per_m(0.1));
    EXPECT_GT(medhurst_f_per_m(80), medhurst_f_per_m(50));
}

TEST(Medhurst, IsSmoothAndFallsOnceThenRises) {
    bool rising = false;
    double last = medhurst_f_per_m(0.05);
    for (double ratio = 0.05; ratio < 100; ratio *= 1.005) {
        const double value = medhurst_f_per_m(ratio);
        // The steepest piece of the table rises by the first power: half a per cent per step, three quarters at most.
        EXPECT_NEAR(value / last, 1, 0.0075) << ratio;
        if (value > last * (1 + 1e-12)) rising = true;
        EXPECT_TRUE(!rising || value >= last * (1 - 1e-12)) << ratio;
        last = value;
    }
    EXPECT_TRUE(rising);
}

TEST(IsolatedToroid, GrowsWithItsTubeAndStaysBelowItsSphere) {
    // Capacitance grows when a body grows: the disc of its centre line is not inside, but a sphere around it is
    // outside.
    for (double tube = 0.01; tube <= 0.5; tube += 0.01) {
        const double value = isolated_capacitance_f(Toroid{1, tube, 0});
        EXPECT_LT(value, isolated_capacitance_f(Sphere{1, 0})) << tube;
        if (tube > 0.01) {
            EXPECT_GT(value, isolated_capacitance_f(Toroid{1 - 0.01, tube - 0.01, 0})) << tube;
        }
    }
}

}  // namespace
}  // namespace coldtune::model
