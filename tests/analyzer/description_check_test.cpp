// A measurement far from its calculation belongs to another circuit: said, never silent.
#include "analyzer/measure/description_check.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <numbers>

namespace coldtune {
namespace {

using bench::Hookup;
using measure::FindingCode;

struct Seen {
    double frequency_hz = 0;
    double impedance = 1;  // of that of the description
    Hookup hookup = Hookup::foot;
};

std::vector<measure::Finding> judged(const Seen& seen, double calculated_u95_hz = 2e3) {
    model::Calculated calculated;
    calculated.frequency_hz = 60e3;
    calculated.frequency_u95_hz = calculated_u95_hz;
    calculated.inductance_h = 60e-3;
    measure::Resonance r;
    r.frequency_hz = seen.frequency_hz;
    r.frequency_u95_hz = 5;
    r.q = 100;
    r.q_u95 = 0.1;
    r.resistance_ohm = seen.impedance * 2 * std::numbers::pi * seen.frequency_hz * calculated.inductance_h / *r.q;
    r.resistance_u95_ohm = 0.01 * *r.resistance_ohm;
    return judge_description(seen.hookup, r, calculated);
}

bool only(const std::vector<measure::Finding>& findings, FindingCode code, std::string_view words) {
    return findings.size() == 1 && findings.front().code == code &&
           findings.front().weight == measure::Weight::caution &&
           findings.front().text.find(words) != std::string::npos;
}

TEST(DescriptionCheck, WhatDimensionsAndARoomExplainPasses) {
    EXPECT_TRUE(judged({60e3, 1}).empty());
    EXPECT_TRUE(judged({61.9e3, 1.08}).empty());
    EXPECT_TRUE(judged({55e3, 0.93}).empty());    // 8 % below: an ordinary room
    EXPECT_TRUE(judged({47e3, 1}, 7e3).empty());  // a calculation this unsure holds nothing against the coil
}

TEST(DescriptionCheck, AnotherCircuitIsSaid) {
    // A tank closed at the foot was seen to leave -64 %.
    for (const double measured_hz : {21.6e3, 45e3, 50e3}) {
        EXPECT_TRUE(only(judged({measured_hz, 1}), FindingCode::no_coil, "below calculated")) << measured_hz;
        EXPECT_TRUE(only(judged({measured_hz, 1, Hookup::pickup}), FindingCode::no_coil, "open the tank"));
    }
    for (const double measured_hz : {62.2e3, 75e3, 180e3}) {
        EXPECT_TRUE(only(judged({measured_hz, 1}), FindingCode::no_coil, "above calculated")) << measured_hz;
    }
}

TEST(DescriptionCheck, AnotherResistorIsSaidAtTheFootOnly) {
    EXPECT_TRUE(only(judged({60e3, 2.1}), FindingCode::correction_stale, "2.1 times"));
    EXPECT_TRUE(only(judged({60e3, 0.47}), FindingCode::correction_stale, "0.47 times"));
    EXPECT_TRUE(judged({60e3, 2.1, Hookup::pickup}).empty());  // a wire near the head has no impedance
}

TEST(DescriptionCheck, ATankAtAnotherTapIsSaid) {
    model::TankCalculated calculated;
    calculated.frequency_hz = 60e3;
    calculated.frequency_u95_hz = 1.5e3;
    const auto told = [&](double frequency_hz) {
        measure::Resonance r;
        r.frequency_hz = frequency_hz;
        r.frequency_u95_hz = 5;
        return judge_tank_description(r, calculated);
    };
    EXPECT_FALSE(told(57e3));  // 5 % of leads that nobody described
    EXPECT_FALSE(told(63e3));
    ASSERT_TRUE(told(67e3));
    EXPECT_NE(told(67e3)->text.find("12 % above"), std::string::npos) << told(67e3)->text;
    EXPECT_EQ(told(52e3)->weight, measure::Weight::caution);
}

TEST(DescriptionCheck, ATankIsNoSecondary) {
    EXPECT_TRUE(judged({21.6e3, 3, Hookup::tank}).empty());
}

}  // namespace
}  // namespace coldtune
