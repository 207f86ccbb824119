// Periods that lie shifted against one another, and periods that differ by noise alone.
#include "dsp/period_shift.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <numbers>
#include <random>

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;

// The ratio behind 10 kohm of a coil of 40 pF below and at its resonance, Q 100; everything `shift` higher.
Complex ratio_at(double frequency_hz, double resonance_hz, double shift) {
    const double f = frequency_hz / (1 + shift), omega = 2 * std::numbers::pi * f;
    const double x = f / resonance_hz;
    const Complex admittance = Complex(0, omega * 40e-12) / (1 - x * x + Complex(0, x / 100));
    return 1.0 / (1.0 + 1e4 * (admittance + Complex(1e-6, omega * 160e-12)));
}

// `shifts`: of each period; noise of standard deviation `sigma` in each, both quadratures together.
Response made(const std::vector<double>& shifts, double resonance_hz, double sigma, unsigned seed) {
    std::mt19937_64 engine(seed);
    std::normal_distribution<double> normal(0, sigma / std::numbers::sqrt2);
    Response r;
    const double periods = static_cast<double>(shifts.size());
    r.of_periods.resize(shifts.size());
    for (double f = 1000; f < 80e3; f += 10) {
        r.frequency_hz.push_back(f);
        Complex mean = 0;
        for (std::size_t p = 0; p < shifts.size(); ++p) {
            r.of_periods[p].push_back(ratio_at(f, resonance_hz, shifts[p]) + Complex(normal(engine), normal(engine)));
            mean += r.of_periods[p].back() / periods;
        }
        r.ratio.push_back(mean);
        r.variance.push_back(sigma * sigma / periods);
    }
    return r;
}

TEST(PeriodShift, FindsTheShiftOfEachPeriod) {
    for (const double resonance_hz : {60e3, 150e3}) {
        const std::vector<double> shifts{0, 2e-4, -1e-4, 1e-4};
        const Band window = resonance_hz < 80e3 ? Band{57e3, 63e3} : Band{};
        const Response r = made(shifts, resonance_hz, 1e-5, 1);
        const auto found = period_shift(r, resonance_hz < 80e3 ? window : Band{1000, 80e3});
        ASSERT_TRUE(found.has_value());
        ASSERT_EQ(found->relative.size(), shifts.size());
        for (std::size_t p = 0; p < shifts.size(); ++p) {
            // Against their mean, 0.5e-4. Five standard deviations, and 5 % for a slope from neighbours: at a resonance
            // 600 Hz wide the groups are 40 Hz apart.
            EXPECT_NEAR(found->relative[p], shifts[p] - 0.5e-4, 5 * found->u_relative[p] + 0.05 * 2e-4);
        }
        EXPECT_TRUE(found->unsteady());
        // Student's t with 3 degrees of freedom, 97.5 %: 3.182 (tables of every textbook; from memory).
        EXPECT_NEAR(found->mean_u95() / (found->scatter() / 2), 3.182, 1e-3);
    }
}

TEST(PeriodShift, NoiseAloneScattersAsChiSquare) {
    constexpr int kDraws = 300;
    double sum = 0;
    int unsteady = 0, changed = 0;
    for (int i = 0; i < kDraws; ++i) {
        const Response r = made({0, 0, 0, 0}, 60e3, 1e-3, static_cast<unsigned>(100 + i));
        const auto found = period_shift(r, {57e3, 63e3});
        ASSERT_TRUE(found.has_value());
        sum += found->chi_square / static_cast<double>(found->degrees_of_freedom);
        unsteady += found->unsteady() ? 1 : 0;
        const auto change = period_change(r, {57e3, 63e3});
        ASSERT_TRUE(change.has_value());
        changed += change->significance > 25 ? 1 : 0;
    }
    // Mean 1, standard deviation sqrt(2/3/300) = 0.047: four of these.
    EXPECT_NEAR(sum / kDraws, 1, 0.19);
    EXPECT_EQ(unsteady, 0);
    EXPECT_EQ(changed, 0);
}

// Parts of a capture that hold unequal shares of the excitation, one of them none.
TEST(PeriodShift, PartsCountByWhatTheyHoldOfTheExcitation) {
    constexpr int kDraws = 300;
    const std::vector<double> shares{1.6, 0, 2, 0.4};
    double sum = 0;
    for (int i = 0; i < kDraws; ++i) {
        std::mt19937_64 engine(static_cast<std::uint64_t>(i) + 1);
        const double sigma = 1e-3;
        Response r;
        r.of_periods.resize(shares.size());
        r.of_periods_power.resize(shares.size());
        for (double f = 57e3; f < 63e3; f += 10) {
            Complex mean = 0;
            for (std::size_t p = 0; p < shares.size(); ++p) {
                // Noise of one spectrum over the root of its power; whatever a part without excitation gives.
                std::normal_distribution<double> normal(0, sigma / std::sqrt(2 * std::max(shares[p], 1e-6)));
                const Complex one = ratio_at(f, 60e3, 0) + Complex(normal(engine), normal(engine));
                r.of_periods[p].push_back(one);
                r.of_periods_power[p].push_back(shares[p]);
                mean += shares[p] * one / 4.0;
            }
            r.frequency_hz.push_back(f);
            r.ratio.push_back(mean);
            r.variance.push_back(sigma * sigma / 4);
        }
        const auto found = period_shift(r, {57e3, 63e3});
        ASSERT_TRUE(found.has_value());
        ASSERT_EQ(found->degrees_of_freedom, 2U);
        EXPECT_NEAR(found->u_relative[2] / found->u_relative[0], 2, 1e-9);
        sum += found->chi_square / 2;
        // The same noise, and the last part half a bandwidth higher.
        for (std::size_t k = 0; k < r.ratio.size(); ++k) {
            const Complex off = ratio_at(r.frequency_hz[k], 60e3, 5e-3) - ratio_at(r.frequency_hz[k], 60e3, 0);
            r.of_periods[3][k] += off;
            r.ratio[k] += 0.1 * off;
        }
        EXPECT_TRUE(period_shift(r, {57e3, 63e3})->unsteady());
        const auto change = period_change(r, {});
        ASSERT_TRUE(change.has_value());
        EXPECT_GT(change->significance, 25);
    }
    // Mean 1, standard deviation sqrt(2/2/300) = 0.058: four of these.
    EXPECT_NEAR(sum / kDraws, 1, 0.23);
}

TEST(PeriodShift, AChangeElsewhereIsFoundWhereItIs) {
    Response r = made({0, 0, 0}, 60e3, 1e-4, 3);
    for (std::size_t k = 0; k < r.frequency_hz.size(); ++k) {
        if (r.frequency_hz[k] < 20e3 || r.frequency_hz[k] > 22e3) continue;
        r.of_periods[1][k] += 0.01;
        r.ratio[k] += 0.01 / 3;
    }
    const auto change = period_change(r, {57e3, 63e3});
    ASSERT_TRUE(change.has_value());
    EXPECT_GT(change->significance, 25);
    EXPECT_NEAR(change->frequency_hz, 21e3, 1e3);
    EXPECT_NEAR(change->size, 0.01 * 2 / 3, 1e-4);  // against the mean of the three; noise of a group is 1e-5
}

TEST(PeriodShift, IsUnknownWithoutSinglePeriods) {
    Response r = made({0, 0}, 60e3, 1e-4, 4);
    r.of_periods.resize(1);
    EXPECT_FALSE(period_shift(r, {57e3, 63e3}).has_value());
    EXPECT_FALSE(period_change(r, {}).has_value());
}

}  // namespace
}  // namespace coldtune::dsp
