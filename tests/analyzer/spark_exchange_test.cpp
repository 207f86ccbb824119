// The exchange after the gap closes against the lossless textbook, conservation of energy, and a Runge-Kutta run of the
// same two circuits. ngspice: tests/outside/coupled_ngspice_test.
#include "analyzer/model/spark_exchange.hpp"

#include <gtest/gtest.h>

#include <Eigen/Dense>
#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>
#include <random>

#include "analyzer/measure/spark_figures.hpp"
#include "tests/support/two_pi.hpp"

namespace coldtune::model {
namespace {

constexpr double kNoLoss = 1e6;  // Q, the largest allowed: 6e-6 of the energy goes in each cycle

// Tuned and without loss: split f / sqrt(1 +- k), and v1 = (cos w_l t + cos w_h t) / 2, which first vanishes as an
// envelope after half a beat with all energy in the secondary (A. Oberbeck 1895, F. E. Terman 1943; from memory).
TEST(SparkExchange, LosslessTextbook) {
    for (const double k : {0.05, 0.1, 0.2, 0.35}) {
        const double f = 123e3;
        const auto x = spark_exchange({f, f, kNoLoss, kNoLoss, k});
        ASSERT_TRUE(x) << x.error().message;
        const double low = f / std::sqrt(1 + k), high = f / std::sqrt(1 - k);
        EXPECT_NEAR(x->split[0].frequency_hz / low, 1, 1e-9) << k;
        EXPECT_NEAR(x->split[1].frequency_hz / high, 1, 1e-9) << k;
        ASSERT_GE(x->exchanges.size(), 4U);
        for (std::size_t n = 0; n < 4; ++n) {
            const Exchange& e = x->exchanges[n];
            // What loss is left moves a return by 2 / (pi Q k) of half a beat; an extremum is found to 1e-7.
            EXPECT_NEAR(e.time_s * 2 * (high - low), static_cast<double>(n + 1), 0.7 / (kNoLoss * k) + 1e-6)
                << k << " " << n;
            EXPECT_EQ(e.to_secondary, n % 2 == 0);
            EXPECT_NEAR(e.to_secondary ? e.secondary_share : e.primary_share, 1, 1e-3) << k << " " << n;
            EXPECT_NEAR(e.to_secondary ? e.primary_share : e.secondary_share, 0, 1e-6) << k << " " << n;
        }
        // About 1/(2k) cycles; the next term of 1/(2 (1/sqrt(1-k) - 1/sqrt(1+k))) is 5 k^2/8.
        EXPECT_NEAR(x->first_transfer()->cycles * 2 * k, 1, k * k) << k;
        EXPECT_LE(x->secondary_peak, 1 + 1e-9);
        EXPECT_GT(x->secondary_peak, 0.9);
    }
}

// Detuned and without loss the tank keeps (f1^2 - f2^2)^2 / ((f1^2 - f2^2)^2 + 4 k^2 f1^2 f2^2) of its amplitude: the
// angle of the rotation that makes the 2 x 2 matrix of 1/f^2 diagonal.
TEST(SparkExchange, DetunedWithoutLossAPartStays) {
    const double f1 = 100e3, k = 0.12;
    for (const double f2 : {90e3, 97e3, 108e3}) {
        const auto x = spark_exchange({f1, f2, kNoLoss, kNoLoss, k});
        ASSERT_TRUE(x);
        const double a = std::pow(f1, -2), b = std::pow(f2, -2);
        const double cosine = (a - b) / std::hypot(a - b, 2 * k * std::sqrt(a * b));
        EXPECT_NEAR(x->first_transfer()->primary_share, cosine * cosine, 1e-4) << f2;
        const double root = std::hypot(a - b, 2 * k * std::sqrt(a * b));
        EXPECT_NEAR(x->split[0].frequency_hz, std::sqrt(2 / (a + b + root)), 1e-3) << f2;
        EXPECT_NEAR(x->split[1].frequency_hz, std::sqrt(2 / (a + b - root)), 1e-3) << f2;
    }
}

// Classical Runge-Kutta of fourth order on charges and currents, 1000 steps a cycle: error below 1e-9 a cycle.
Waveforms runge_kutta(const TwoCircuits& c, double step_s, std::size_t steps) {
    const double l1 = 50e-6, l2 = 0.1, m = c.k * std::sqrt(l1 * l2);
    const double w1 = kTwoPi * c.primary_hz, w2 = kTwoPi * c.secondary_hz;
    const double c1 = 1 / (w1 * w1 * l1), c2 = 1 / (w2 * w2 * l2);
    Eigen::Matrix2d inductance;
    inductance << l1, m, m, l2;
    const Eigen::Matrix2d inverse = inductance.inverse();
    const Eigen::Vector2d resistance(w1 * l1 / c.primary_q, w2 * l2 / c.secondary_q);
    const Eigen::Vector2d elastance(1 / c1, 1 / c2);
    const auto slope = [&](const Eigen::Vector4d& s) {
        Eigen::Vector4d d;
        d.head<2>() = s.tail<2>();
        d.tail<2>() = -inverse * (resistance.cwiseProduct(s.tail<2>()) + elastance.cwiseProduct(s.head<2>()));
        return d;
    };
    Eigen::Vector4d s(c1, 0, 0, 0);  // one volt on the tank
    Waveforms out;
    for (std::size_t i = 0; i < steps; ++i) {
        out.primary_voltage.push_back(s(0) / c1);
        out.secondary_voltage.push_back(s(1) / c2 / std::sqrt(c1 / c2));
        const Eigen::Vector4d k1 = slope(s), k2 = slope(s + step_s / 2 * k1), k3 = slope(s + step_s / 2 * k2),
                              k4 = slope(s + step_s * k3);
        s += step_s / 6 * (k1 + 2 * k2 + 2 * k3 + k4);
    }
    return out;
}

TEST(SparkExchange, WaveformsAreThoseOfTheCircuits) {
    for (const TwoCircuits& c : {TwoCircuits{100e3, 100e3, 40, 150, 0.15}, TwoCircuits{104e3, 97e3, 25, 60, 0.08},
                                 TwoCircuits{80e3, 120e3, 300, 10, 0.3}, TwoCircuits{100e3, 100e3, 20, 60, 1.0 / 60}}) {
        const double step = 1 / (1000 * c.primary_hz);
        const auto there = runge_kutta(c, step, 12000);
        std::vector<double> time;
        for (std::size_t i = 0; i < 12000; ++i) time.push_back(step * static_cast<double>(i));
        const auto here = spark_waveforms(c, time);
        ASSERT_TRUE(here);
        double worst = 0;
        for (std::size_t i = 0; i < 12000; ++i) {
            worst = std::max(worst, std::abs(here->primary_voltage[i] - there.primary_voltage[i]));
            // The signs of the head's voltage hang on how the windings are wound.
            worst = std::max(worst, std::abs(here->secondary_voltage[i] - there.secondary_voltage[i]));
        }
        // The last case stands on the point where the beat disappears: two eigenvectors fall together there.
        EXPECT_LT(worst, c.k == 1.0 / 60 ? 1e-5 : 1e-7) << c.k;
    }
}

TEST(SparkExchange, EnvelopesEncloseTheWaveforms) {
    const TwoCircuits c{100e3, 99e3, 60, 150, 0.15};
    const auto x = spark_exchange(c);
    ASSERT_TRUE(x);
    const auto w = spark_waveforms(c, x->envelopes.time_s);
    double secondary_peak = 0;
    for (std::size_t i = 0; i < x->envelopes.time_s.size(); ++i) {
        EXPECT_LE(std::abs(w->primary_voltage[i]), x->envelopes.primary_voltage[i] + 1e-12);
        EXPECT_LE(std::abs(w->secondary_voltage[i]), x->envelopes.secondary_voltage[i] + 1e-12);
        secondary_peak = std::max(secondary_peak, std::abs(w->secondary_voltage[i]));
    }
    EXPECT_GE(x->secondary_peak, secondary_peak);
    EXPECT_NEAR(x->secondary_peak, secondary_peak, 0.05);  // 400 points over some tens of cycles
    // Every exchange lies within what is drawn, and no share exceeds the one before of its kind.
    double left = 1;
    for (const Exchange& e : x->exchanges) {
        EXPECT_LE(e.time_s, x->envelopes.time_s.back());
        EXPECT_LT(e.primary_share + e.secondary_share, left);
        left = e.primary_share + e.secondary_share + 0.01;  // both at their peaks: some mutual energy besides
    }
}

TEST(SparkExchange, TooLooseACouplingExchangesNothing) {
    // The beat disappears where k is below half the difference of the losses, |1/Q1 - 1/Q2| / 2 = 0.033 (textbook).
    const auto loose = spark_exchange({100e3, 100e3, 10, 30, 0.01});
    ASSERT_TRUE(loose);
    EXPECT_EQ(loose->first_transfer(), nullptr);
    EXPECT_LT(loose->secondary_peak, 0.2);
    const auto tight = spark_exchange({100e3, 100e3, 10, 30, 0.12});
    ASSERT_TRUE(tight);
    EXPECT_NE(tight->first_transfer(), nullptr);
}

TEST(SparkExchange, ImpossibleValuesAreRefused) {
    for (const TwoCircuits& c : {TwoCircuits{0, 1e5, 50, 50, 0.1}, TwoCircuits{1e5, 1e5, 1, 50, 0.1},
                                 TwoCircuits{1e5, 1e5, 50, 50, 0}, TwoCircuits{1e5, 1e5, 50, 50, 1},
                                 TwoCircuits{1e5, 1e3, 50, 50, 0.1}, TwoCircuits{1e5, 1e5, 50, std::nan(""), 0.1}}) {
        const auto refused = spark_exchange(c);
        ASSERT_FALSE(refused);
        EXPECT_EQ(refused.error().kind, ErrorKind::bad_input);
    }
}

TEST(SparkFigures, IntervalIsThatOfManyDraws) {
    measure::SparkInputs in;
    in.value = {100e3, 98e3, 50, 140, 0.14};
    in.u95 = {400, 300, 4, 10, 0.006};
    const auto figures = measure::spark_figures(in);
    ASSERT_TRUE(figures);
    // The last exchanges cease where the coupling is a little less: their intervals are not known.
    constexpr std::size_t later = 3;
    ASSERT_GT(figures->exchanges_u95.size(), later);
    std::mt19937_64 random(3);
    std::normal_distribution<double> normal;
    double time2 = 0, share2 = 0, later2 = 0, split2 = 0;
    constexpr int draws = 400;
    SparkOptions quick;
    quick.most_exchanges = later + 1;
    quick.envelope_points = 2;
    for (int i = 0; i < draws; ++i) {
        TwoCircuits c = in.value;
        c.primary_hz += 200 * normal(random);
        c.secondary_hz += 150 * normal(random);
        c.primary_q += 2 * normal(random);
        c.secondary_q += 5 * normal(random);
        c.k += 0.003 * normal(random);
        const auto x = spark_exchange(c, quick);
        ASSERT_TRUE(x);
        time2 += std::pow(x->first_transfer()->time_s - figures->exchange.first_transfer()->time_s, 2);
        share2 +=
            std::pow(x->first_transfer()->secondary_share - figures->exchange.first_transfer()->secondary_share, 2);
        ASSERT_GT(x->exchanges.size(), later);
        later2 += std::pow(x->exchanges[later].time_s - figures->exchange.exchanges[later].time_s, 2);
        split2 += std::pow(x->split[1].frequency_hz - figures->exchange.split[1].frequency_hz, 2);
    }
    // 400 draws know a standard deviation to 3.5 %: four of those, and some for what is not linear.
    const auto& first = *figures->first_transfer_u95();
    EXPECT_NEAR(2 * std::sqrt(time2 / draws) / first.time_s, 1, 0.17);
    EXPECT_NEAR(2 * std::sqrt(share2 / draws) / first.secondary_share, 1, 0.17);
    EXPECT_NEAR(2 * std::sqrt(later2 / draws) / figures->exchanges_u95[later].time_s, 1, 0.17);
    EXPECT_NEAR(2 * std::sqrt(split2 / draws) / figures->split_u95_hz[1], 1, 0.17);
}

TEST(SparkFigures, VoltageRatioBothWays) {
    measure::SparkInputs in;
    in.value = {100e3, 80e3, 50, 140, 0.14};
    in.primary_capacitance_f = 40e-9;
    in.secondary_capacitance_f = 25e-12;
    const auto figures = measure::spark_figures(in);
    ASSERT_TRUE(figures);
    EXPECT_NEAR(*figures->limit_by_capacitance, 40, 1e-9);
    // L = 1/(w^2 C): sqrt(L2/L1) = sqrt(C1/C2) f1/f2.
    EXPECT_NEAR(*figures->limit_by_inductance, 50, 1e-9);
    EXPECT_LT(*figures->reached, *figures->limit_by_capacitance);
    const auto json = measure::to_json(*figures, true);
    EXPECT_EQ(json["schema"], "coldtune.exchange.v1");
    EXPECT_NE(json["caution"].get<std::string>().find("streamers change it"), std::string::npos);
    EXPECT_EQ(json["envelopes"]["time_s"].size(), json["envelopes"]["secondary_voltage"].size());
    EXPECT_FALSE(measure::to_json(*figures, false).contains("envelopes"));
    bool notch = false;
    for (const auto& line : measure::spark_lines(*figures))
        notch = notch || line.value.find("notch") != std::string::npos;
    EXPECT_TRUE(notch);
}

}  // namespace
}  // namespace coldtune::model
