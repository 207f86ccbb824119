// Curves to be drawn, against circuits whose values are known in closed form.
#include "analyzer/measure/curves.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

namespace coldtune::measure {
namespace {

using Complex = std::complex<double>;
using std::numbers::pi;

constexpr double kF0 = 63.4e3, kQ = 182, kR = 420, kStray = 12e-12;

// Series resonator with a stray capacitance across it: the admittance at a foot, design section 3.
Complex admittance(double f) {
    return Complex(0, 2 * pi * f * kStray) + 1 / kR / Complex(1, kQ * (f / kF0 - kF0 / f));
}

MeasurementResult measured(double deviation_ohm) {
    MeasurementResult result;
    std::mt19937 random(3);
    std::normal_distribution<double> noise(0, deviation_ohm / std::numbers::sqrt2);
    for (double f = 60e3; f < 67e3; f += 4) {
        result.curve.frequency_hz.push_back(f);
        result.curve.impedance_ohm.push_back(1.0 / admittance(f) + Complex(noise(random), noise(random)));
        result.curve.standard_deviation_ohm.push_back(deviation_ohm);
    }
    Resonance r;
    // Zero reactance: the stray moves it by f0 (w0 Cs R) / (2 Q) to first order.
    r.frequency_hz = kF0 * (1 + 2 * pi * kF0 * kStray * kR / (2 * kQ));
    r.frequency_u95_hz = 1;
    r.q = kQ;
    result.outcome = Accepted{r, std::nullopt};
    return result;
}

TEST(Curves, EveryQuantityIsWhatItsNameSays) {
    Curve curve;
    curve.frequency_hz = {1000};
    curve.impedance_ohm = {{3, -4}};
    const auto value = [&](Quantity q) { return trace_of(curve, q).value[0]; };
    // |3 - 4j| = 5, its angle atan(-4/3) = -53.130 degrees; 1/(3 - 4j) = (3 + 4j)/25.
    EXPECT_DOUBLE_EQ(value(Quantity::impedance_magnitude), 5);
    EXPECT_NEAR(value(Quantity::impedance_phase), -53.13010235, 1e-7);
    EXPECT_DOUBLE_EQ(value(Quantity::resistance), 3);
    EXPECT_DOUBLE_EQ(value(Quantity::reactance), -4);
    EXPECT_DOUBLE_EQ(value(Quantity::admittance_magnitude), 0.2);
    EXPECT_NEAR(value(Quantity::admittance_phase), 53.13010235, 1e-7);
    EXPECT_DOUBLE_EQ(value(Quantity::conductance), 0.12);
    EXPECT_DOUBLE_EQ(value(Quantity::susceptance), 0.16);
    EXPECT_TRUE(trace_of(curve, Quantity::resistance).half_width_95.empty());
}

TEST(Curves, HalfWidthsAreTwiceTheScatter) {
    const Complex z(300, -400);
    const double deviation = 2;
    Curve curve{{1000}, {z}, {deviation}};
    std::mt19937 random(11);
    std::normal_distribution<double> noise(0, deviation / std::numbers::sqrt2);
    for (Quantity q :
         {Quantity::admittance_magnitude, Quantity::admittance_phase, Quantity::conductance, Quantity::susceptance,
          Quantity::impedance_magnitude, Quantity::impedance_phase, Quantity::resistance, Quantity::reactance}) {
        constexpr int kDraws = 20000;
        const double centre = trace_of(curve, q).value[0];
        double squares = 0;
        for (int k = 0; k < kDraws; ++k) {
            const Curve one{{1000}, {z + Complex(noise(random), noise(random))}, {}};
            squares += std::pow(trace_of(one, q).value[0] - centre, 2);
        }
        // The scatter of 20,000 draws is known to 1/sqrt(40,000) = 0.5 %; three times that, and the second order of a
        // deviation of 0.4 % of |Z|, far less.
        EXPECT_NEAR(trace_of(curve, q).half_width_95[0] / (2 * std::sqrt(squares / kDraws)), 1, 0.015)
            << quantity_name(q);
    }
}

TEST(Curves, TheFittedCurveIsTheCircuit) {
    const auto fitted = fitted_curve(measured(0.5));
    ASSERT_TRUE(fitted);
    ASSERT_GT(fitted->frequency_hz.size(), 200U);
    for (std::size_t k = 0; k < fitted->frequency_hz.size(); ++k) {
        const double f = fitted->frequency_hz[k];
        // 0.5 ohm of noise on some 500 points that matter, four parameters: about 0.1 % of 420 ohm, five times that.
        EXPECT_LT(std::abs(fitted->impedance_ohm[k] * admittance(f) - 1.0), 0.005) << f;
        if (k > 0) {
            EXPECT_GT(f, fitted->frequency_hz[k - 1]);
        }
    }
}

// A tank: inductance with its resistance in series, across a capacitor.
TEST(Curves, TheFittedCurveOfATankIsTheCircuit) {
    constexpr double l = 60e-6, c = 100e-9, r = 0.8;  // Q = sqrt(L/C)/r = 31: low enough to tell where the loss sits
    const auto impedance = [](double f) {
        const Complex coil(r, 2 * pi * f * l);
        return coil / (1.0 + coil * Complex(0, 2 * pi * f * c));
    };
    MeasurementResult result;
    result.hookup = bench::Hookup::tank;
    std::mt19937 random(5);
    std::normal_distribution<double> noise(0, 0.1 / std::numbers::sqrt2);
    for (double f = 40e3; f < 86e3; f += 10) {
        result.curve.frequency_hz.push_back(f);
        result.curve.impedance_ohm.push_back(impedance(f) + Complex(noise(random), noise(random)));
        result.curve.standard_deviation_ohm.push_back(0.1);
    }
    Resonance resonance;
    resonance.frequency_hz = 1 / (2 * pi * std::sqrt(l * c));
    resonance.frequency_u95_hz = 5;
    result.outcome = Accepted{resonance, std::nullopt};
    const auto fitted = fitted_curve(result);
    ASSERT_TRUE(fitted);
    for (std::size_t k = 0; k < fitted->frequency_hz.size(); ++k) {
        const double f = fitted->frequency_hz[k];
        // 0.1 ohm of noise on some thousand points against impedances of 100 ohm and more: 0.003 %; ten times that for
        // the ends of the window, where the curve is steepest. The loss put across the resonator instead would be off
        // by 1/Q = 3 %.
        EXPECT_LT(std::abs(fitted->impedance_ohm[k] / impedance(f) - 1.0), 0.003) << f;
    }
}

TEST(Curves, NothingIsDrawnThatTheResultDoesNotBearOut) {
    MeasurementResult rejected = measured(0.5);
    rejected.outcome = Rejected{};
    EXPECT_FALSE(fitted_curve(rejected));
    MeasurementResult other = measured(0.5);
    Resonance r = *other.resonance();
    r.frequency_hz *= 1.01;
    other.outcome = Accepted{r, std::nullopt};
    EXPECT_FALSE(fitted_curve(other)) << "the second fit found another resonance";
    r.way = Way::below_band;
    other.outcome = Accepted{r, std::nullopt};
    EXPECT_FALSE(fitted_curve(other));
}

TEST(Curves, TheCalculatedCurveReachesThePeakOfEveryMode) {
    model::CoilDescription coil;
    coil.secondary.diameter_m = 0.11;
    coil.secondary.length_m = 0.5;
    coil.secondary.turns = 1000;
    coil.secondary.wire_diameter_m = 0.4e-3;
    coil.secondary.base_height_m = 0.3;
    const auto built = model::SecondaryModel::build(coil);
    ASSERT_TRUE(built) << built.error().message;
    const double first = built->modes_hz()[0];
    const Curve curve = calculated_curve(*built, bench::Hookup::foot, {200, 3 * first});
    double peak = 0, at = 0;
    for (std::size_t k = 0; k < curve.frequency_hz.size(); ++k) {
        const double g = (1.0 / curve.impedance_ohm[k]).real();
        if (g > peak) peak = g, at = curve.frequency_hz[k];
    }
    // The mode itself is a point of the curve; loss moves the peak of the conductance by about f0 / (8 Q^2), 1e-6 here.
    EXPECT_NEAR(at / first, 1, 1e-5);
    EXPECT_DOUBLE_EQ(curve.frequency_hz.front(), 200);
    EXPECT_TRUE(calculated_curve(*built, bench::Hookup::tank, {200, 3 * first}).frequency_hz.empty());
    EXPECT_TRUE(calculated_curve(*built, bench::Hookup::foot, {0, 0}).frequency_hz.empty());
}

}  // namespace
}  // namespace coldtune::measure
