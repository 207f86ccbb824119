// Consistency of the primary's sums, the tank and the coupling; printed values are in tests/outside.
#include "analyzer/model/primary.hpp"

#include <gtest/gtest.h>

#include <array>
#include <boost/math/quadrature/tanh_sinh.hpp>
#include <cmath>
#include <numbers>

#include "analyzer/model/inductance.hpp"
#include "analyzer/model/tank.hpp"

namespace coldtune::model {
namespace {

using std::numbers::pi;

Primary spiral(double angle_deg = 0) {
    Primary p;
    p.inner_diameter_m = 0.2;
    p.pitch_m = 12.7e-3;
    p.turns = 10;
    p.conductor_diameter_m = 6.35e-3;
    p.angle_deg = angle_deg;
    p.base_height_m = 0.05;
    return p;
}

Winding secondary() {
    Winding w;
    w.diameter_m = 0.11;
    w.length_m = 0.5;
    w.turns = 1000;
    w.wire_diameter_m = 0.4e-3;
    w.base_height_m = 0.06;
    return w;
}

TEST(PrimaryTaps, GrowContinuouslyThroughWholeTurns) {
    const Primary p = spiral(30);
    for (const double turn : {1.0, 2.0, 5.0, 9.0}) {
        const double before = primary_inductance_h(p, turn - 1e-9);
        const double at = primary_inductance_h(p, turn);
        const double after = primary_inductance_h(p, turn + 1e-9);
        // The steepest part, where an arc closes on itself, gains about a microhenry per hundredth of a turn.
        EXPECT_NEAR(before, at, 1e-12) << turn;
        EXPECT_NEAR(after, at, 1e-12) << turn;
        EXPECT_LT(before, at);
        EXPECT_LT(at, after);
    }
}

TEST(PrimaryTaps, NeverFall) {
    for (const double angle : {0.0, 30.0, 90.0}) {
        const Primary p = spiral(angle);
        double last = 0;
        for (double tap = 0.01; tap <= p.turns; tap += 0.01) {
            const double inductance = primary_inductance_h(p, tap);
            EXPECT_GT(inductance, last) << angle << ' ' << tap;
            last = inductance;
        }
    }
}

TEST(PrimaryTaps, TableIsTheFunctionAndEndsWithTheLastTurn) {
    Primary p = spiral(20);
    p.turns = 7.3;
    const std::vector<TapPoint> taps = primary_taps(p, 0.25);
    ASSERT_EQ(taps.size(), 30u);  // 0.25 .. 7.25 and 7.3
    EXPECT_EQ(taps.back().turns, 7.3);
    for (const TapPoint& tap : taps) {
        // The same terms added in the same order.
        EXPECT_NEAR(tap.inductance_h / primary_inductance_h(p, tap.turns), 1, 1e-14);
        EXPECT_DOUBLE_EQ(tap.conductor_length_m, primary_conductor_length_m(p, tap.turns));
    }
    // A step that divides the turns does not list the last one twice.
    p.turns = 3;
    EXPECT_EQ(primary_taps(p, 0.1).size(), 30u);
}

TEST(PrimaryTaps, PartTurnIsNeumannsIntegralOverTwoArcs) {
    // Two arcs one above the other at the distance of the wire's radius, integrated by brute force in two angles and by
    // another library's rule in one, in the ratio to the same for a whole turn. Upright, so that every part of the turn
    // has the whole turn's radius.
    Primary p = spiral(90);
    p.conductor_diameter_m = 20e-3;
    p.pitch_m = 30e-3;
    const double radius = 0.1;
    const double offset = 0.01;
    boost::math::quadrature::tanh_sinh<double> rule;
    const auto arcs = [&](double theta) {
        const auto inner = [&](double alpha) {
            const auto kernel = [&](double beta) {
                const double s = 2 * radius * std::sin((alpha - beta) / 2);
                return radius * radius * std::cos(alpha - beta) / std::sqrt(s * s + offset * offset);
            };
            return rule.integrate(kernel, 0.0, alpha, 1e-9);
        };
        return 2 * rule.integrate(inner, 0.0, theta, 1e-9);
    };
    const double whole = arcs(2 * pi);
    for (const double share : {0.1, 0.37, 0.5, 0.8, 0.99}) {
        p.turns = share;
        const double expected = ring_self_inductance_h(radius, offset) * arcs(2 * pi * share) / whole;
        // The brute-force rule was asked for 1e-9 twice over.
        EXPECT_NEAR(primary_inductance_h(p, share) / expected, 1, 1e-7) << share;
    }
}

TEST(PrimaryLength, FollowsTheClosedForms) {
    // Upright helix: turns times the hypotenuse.
    const Primary helix = spiral(90);
    EXPECT_NEAR(primary_conductor_length_m(helix, 3.3), 3.3 * std::hypot(pi * 0.2, 12.7e-3), 1e-12);
    // Flat spiral: the length of an Archimedean spiral r = c phi (textbook), c/2 [phi sqrt(1 + phi^2) + asinh phi].
    const Primary flat = spiral(0);
    const double c = flat.pitch_m / (2 * pi);
    const auto from_pole = [&](double r) {
        const double phi = r / c;
        return c / 2 * (phi * std::sqrt(1 + phi * phi) + std::asinh(phi));
    };
    const double start = 0.1 - 0.5 * flat.pitch_m;
    EXPECT_NEAR(primary_conductor_length_m(flat, 9.7), from_pole(start + 9.7 * flat.pitch_m) - from_pole(start), 1e-12);
}

TEST(PrimaryMutual, SectionsAddUpToTheWhole) {
    const Winding w = secondary();
    for (const double angle : {0.0, 45.0, 90.0}) {
        const Primary p = spiral(angle);
        const Eigen::VectorXd sections = primary_section_mutual_h(p, 8.4, w, 60);
        ASSERT_EQ(sections.size(), 60);
        // Different orders of the rule and different pieces: rounding of the sums only.
        EXPECT_NEAR(sections.sum() / primary_mutual_h(p, 8.4, w), 1, 1e-12) << angle;
        EXPECT_GT(sections.minCoeff(), 0);
    }
}

TEST(PrimaryCoupling, FallsAsTheSecondaryIsRaisedAndStaysBelowOne) {
    const Primary p = spiral();
    const std::array heights{0.05, 0.08, 0.12, 0.2, 0.4, 1.0, 5.0};
    const auto points = coupling_against_height(p, p.turns, secondary(), heights);
    ASSERT_EQ(points.size(), heights.size());
    double last = 1;
    for (std::size_t i = 0; i < points.size(); ++i) {
        EXPECT_EQ(points[i].secondary_base_height_m, heights[i]);
        EXPECT_GT(points[i].coupling, 0);
        EXPECT_LT(points[i].coupling, last);
        last = points[i].coupling;
    }
    Winding w = secondary();
    w.base_height_m = heights[2];
    EXPECT_DOUBLE_EQ(points[2].coupling, primary_coupling(p, p.turns, w));
    EXPECT_DOUBLE_EQ(points[2].mutual_h, primary_mutual_h(p, p.turns, w));
}

TEST(Tank, LeadsAddToTheTap) {
    const Primary p = spiral();
    Tank tank;
    tank.capacitance_f = 10e-9;
    tank.lead_inductance_h = 0.4e-6;
    tank.tap_turns = 6.5;
    EXPECT_DOUBLE_EQ(tank_inductance_h(p, tank), primary_inductance_h(p, 6.5) + 0.4e-6);
    tank.tap_turns.reset();
    EXPECT_DOUBLE_EQ(tank_inductance_h(p, tank), primary_inductance_h(p, 10) + 0.4e-6);
    // 1 mH and 1 nF resonate at 159 154.943 Hz: 1/(2 pi 1e-6) (arithmetic).
    EXPECT_NEAR(tank_frequency_hz(1e-3, 1e-9), 1e6 / (2 * pi), 1e-6);
}

TEST(Tank, TapAndCapacitorAreFoundBack) {
    const Primary p = spiral(15);
    Tank tank;
    tank.capacitance_f = 10e-9;
    tank.lead_inductance_h = 0.4e-6;
    for (const double tap : {0.1, 0.73, 4.0, 6.517, 10.0}) {
        tank.tap_turns = tap;
        const double frequency = tank_frequency_hz(p, tank);
        const auto found = tap_for_frequency(p, tank, frequency);
        ASSERT_TRUE(found) << found.error().message;
        EXPECT_NEAR(*found, tap, 1e-9);  // the search stops at 1e-12; an arc's slope costs digits
        EXPECT_NEAR(capacitance_for_frequency_f(p, tank, frequency) / tank.capacitance_f, 1, 1e-13);
    }
}

TEST(Tank, SaysWhatAnUnreachableFrequencyWouldNeed) {
    const Primary p = spiral();
    Tank tank;
    tank.capacitance_f = 10e-9;
    const auto found = tap_for_frequency(p, tank, 50e3);
    ASSERT_FALSE(found);
    EXPECT_EQ(found.error().kind, ErrorKind::bad_input);
    EXPECT_NE(found.error().message.find("50 kHz"), std::string::npos) << found.error().message;
    EXPECT_NE(found.error().message.find("tank.capacitance"), std::string::npos) << found.error().message;
    EXPECT_FALSE(tap_for_frequency(p, tank, 0));
    EXPECT_FALSE(tap_for_frequency(p, tank, std::nan("")));
}

}  // namespace
}  // namespace coldtune::model
