#include "dsp/ringdown.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <numbers>
#include <random>
#include <vector>

#include "dsp/statistics.hpp"

namespace {

using namespace coldtune;
using namespace coldtune::dsp;

constexpr double kRingRate = 192000;

// Charge of a series R-L-C let go at rest with a charge on it, integrated step by step (exponential of the state
// matrix, scaled and squared from its series): knows nothing of decay times, only L q'' + R q' + q/C = 0.
std::vector<double> let_go(double f0, double q, std::size_t frames, double amplitude) {
    const double w0 = 2 * std::numbers::pi * f0;
    // State (charge, charge'/w0) over one frame.
    const double h = w0 / kRingRate / 1024;
    double a = 1, b = 0, c = 0, d = 1;  // transition over h by its series
    double ta = 1, tb = 0, tc = 0, td = 1;
    for (int k = 1; k < 12; ++k) {
        // Multiply the term by h [[0, 1], [-1, -1/Q]] / k.
        const double na = -tb * h / k, nb = (ta - tb / q) * h / k;
        const double nc = -td * h / k, nd = (tc - td / q) * h / k;
        ta = na, tb = nb, tc = nc, td = nd;
        a += ta, b += tb, c += tc, d += td;
    }
    for (int k = 0; k < 10; ++k) {  // 2^10 steps make one frame
        const double na = a * a + b * c, nb = a * b + b * d, nc = c * a + d * c, nd = c * b + d * d;
        a = na, b = nb, c = nc, d = nd;
    }
    std::vector<double> x;
    double charge = amplitude, current = 0;
    for (std::size_t i = 0; i < frames; ++i) {
        x.push_back(charge);
        const double next = a * charge + b * current;
        current = c * charge + d * current;
        charge = next;
    }
    return x;
}

void add_noise(std::vector<double>& x, double rms, unsigned seed) {
    std::mt19937_64 random(seed);
    std::normal_distribution<double> normal(0, rms);
    for (double& value : x) value += normal(random);
}

// Second-order circuit, textbook: ringing frequency f0 sqrt(1 - 1/(4 Q^2)), envelope exp(-pi f0 t / Q). The factors of
// Q = 10 and Q = 100 computed independently: 0.998749218 and 0.999987500; -60 dB after 21.988 and 219.88 cycles of f0.
TEST(Ringdown, IdentitiesOfTheSecondOrderCircuit) {
    struct Row {
        double q, ringing, cycles_to_60_db;
    };
    for (const auto& row : {Row{10, 0.998749218, 21.988}, Row{100, 0.999987500, 219.88}}) {
        const double f0 = 8000;
        RingdownOptions options;
        options.first_frame = 0;
        const auto fit = fit_ringdown(let_go(f0, row.q, 6000, 0.5), kRingRate, options);
        ASSERT_TRUE(fit) << fit.error().message;
        // Tolerances: the digits given. The fit itself is exact to the rounding of the integration.
        EXPECT_NEAR(fit->ringing_frequency_hz / f0, row.ringing, 1e-9);
        EXPECT_NEAR(fit->frequency_hz / f0, 1, 1e-9);
        EXPECT_NEAR(fit->q / row.q, 1, 1e-8);
        EXPECT_NEAR(std::log(1000.0) * fit->decay_time_s * f0, row.cycles_to_60_db, 1e-4 * row.cycles_to_60_db);
    }
}

TEST(Ringdown, FromVeryLowToHighQ) {
    for (const double q : {1.0, 5.0, 20.0, 100.0, 500.0}) {
        RingdownOptions options;
        options.first_frame = 0;
        const auto fit = fit_ringdown(let_go(20e3, q, 20000, 0.5), kRingRate, options);
        ASSERT_TRUE(fit) << q << ' ' << fit.error().message;
        EXPECT_NEAR(fit->frequency_hz / 20e3, 1, 1e-9) << q;
        EXPECT_NEAR(fit->q / q, 1, 1e-8) << q;
    }
}

// Rife and Boorstyn, IEEE Trans. IT-20 (1974) 591 (formula from a secondary copy, value computed independently): a real
// tone of amplitude 1 in noise of 0.05, 1000 samples at 48 kHz, cannot be placed better than 0.0591748562 Hz. A tone
// that decays by 2 % over the record is nearly that; frequency and decay are independent to first order.
TEST(Ringdown, UncertaintyAgainstTheBoundOfATone) {
    constexpr double fs = 48000, noise = 1e-4;
    std::vector<double> x;
    for (int i = 0; i < 1000; ++i) {
        x.push_back(std::exp(-i / 50e3) * std::cos(2 * std::numbers::pi * 5.1234e3 * i / fs + 0.4));
    }
    add_noise(x, noise, 3);
    RingdownOptions options;
    options.first_frame = 0;
    const auto fit = fit_ringdown(x, fs, options);
    ASSERT_TRUE(fit) << fit.error().message;
    const double bound = 0.0591748562 * fit->noise_rms / 0.05;
    // One percent less amplitude on average, and the terms at twice the frequency that the formula leaves out, below 1
    // %.
    EXPECT_NEAR(std::sqrt(fit->covariance(2, 2)) / bound, 1, 0.03);
    EXPECT_NEAR(fit->noise_rms / noise, 1, 0.1);  // four standard deviations of a scatter from 1000 samples
}

TEST(Ringdown, ScatterAndCoverage) {
    constexpr unsigned seed = 41;
    constexpr int runs = 1000;
    RecordProperty("seed", static_cast<int>(seed));
    const double f0 = 15e3, q = 40;
    const auto clean = let_go(f0, q, 800, 0.3);
    RunningMoments frequency, quality, stated_frequency, stated_q;
    int covered_frequency = 0, covered_q = 0;
    RingdownOptions options;
    options.first_frame = 0;
    for (unsigned run = 0; run < runs; ++run) {
        auto x = clean;
        add_noise(x, 3e-3, seed + run);
        const auto fit = fit_ringdown(x, kRingRate, options);
        ASSERT_TRUE(fit) << fit.error().message;
        frequency.add(fit->frequency_hz);
        quality.add(fit->q);
        stated_frequency.add(fit->frequency_u_hz);
        stated_q.add(fit->q_u);
        covered_frequency += std::abs(fit->frequency_hz - f0) <= 1.96 * fit->frequency_u_hz ? 1 : 0;
        covered_q += std::abs(fit->q - q) <= 1.96 * fit->q_u ? 1 : 0;
    }
    // Four standard deviations of a scatter from 1000 runs.
    EXPECT_NEAR(std::sqrt(*frequency.variance()) / stated_frequency.mean(), 1, 0.09);
    EXPECT_NEAR(std::sqrt(*quality.variance()) / stated_q.mean(), 1, 0.09);
    EXPECT_NEAR(covered_frequency / 1000.0, 0.95, 0.028);  // four standard deviations of the count
    EXPECT_NEAR(covered_q / 1000.0, 0.95, 0.028);
}

TEST(Ringdown, AfterABurstAtAnUnrelatedFrequency) {
    // A circuit driven by a burst and then let go: charge integrated with the drive on, by small steps (Verlet-like
    // midpoint, error below 1e-6), then free.
    const double f0 = 12e3, q = 30, w0 = 2 * std::numbers::pi * f0;
    std::vector<double> x;
    double charge = 0, current = 0;
    constexpr int steps = 200;
    const double dt = 1 / kRingRate / steps;
    const std::size_t burst = 1500;
    for (std::size_t i = 0; i < 6000; ++i) {
        x.push_back(charge + 0.02);
        for (int k = 0; k < steps; ++k) {
            const double t = (static_cast<double>(i) + (k + 0.5) / steps) / kRingRate;
            const double drive = i < burst ? 0.05 * std::sin(2 * std::numbers::pi * 11.6e3 * t) : 0.0;
            const double middle_charge = charge + 0.5 * dt * w0 * current;
            const double middle_current = current + 0.5 * dt * w0 * (drive - charge - current / q);
            charge += dt * w0 * middle_current;
            current += dt * w0 * (drive - middle_charge - middle_current / q);
        }
    }
    add_noise(x, 1e-4, 9);
    RingdownOptions options;
    options.first_frame = burst + 2;
    options.band = Band{5e3, 20e3};
    const auto fit = fit_ringdown(x, kRingRate, options);
    ASSERT_TRUE(fit) << fit.error().message;
    EXPECT_NEAR(fit->frequency_hz, f0, 5 * fit->frequency_u_hz);
    EXPECT_NEAR(fit->q, q, 5 * fit->q_u);
    EXPECT_NEAR(fit->offset, 0.02, 1e-4);
    EXPECT_LT(fit->q_u / q, 1e-3);
    // Fourteen decay times of 0.8 ms are 2140 frames; the decay they are counted with is known within the root of two.
    EXPECT_LT(fit->frames, 3030U);
}

TEST(Ringdown, StartsAtTheLargestSampleByItself) {
    auto x = let_go(10e3, 50, 4000, 0.4);
    x.insert(x.begin(), 500, 0.0);
    const auto fit = fit_ringdown(x, kRingRate);
    ASSERT_TRUE(fit) << fit.error().message;
    EXPECT_EQ(fit->first_frame, 500U);
    EXPECT_NEAR(fit->q, 50, 1e-6);
}

TEST(Ringdown, SaysWhatIsMissing) {
    std::mt19937_64 random(2);
    std::normal_distribution<double> normal(0, 1e-3);
    for (int run = 0; run < 50; ++run) {
        std::vector<double> noise(2000);
        for (double& value : noise) value = normal(random);
        RingdownOptions options;
        options.first_frame = 0;
        const auto fit = fit_ringdown(noise, kRingRate, options);
        ASSERT_FALSE(fit) << fit->frequency_hz << " Q " << fit->q;
        EXPECT_EQ(fit.error().kind, ErrorKind::rejected);
    }
    EXPECT_EQ(fit_ringdown(std::vector<double>(1000, 0.0), kRingRate).error().kind, ErrorKind::rejected);
    std::vector<double> steady;
    for (int i = 0; i < 2000; ++i) steady.push_back(std::sin(0.3 * i));
    add_noise(steady, 1e-2, 4);
    RingdownOptions from_start;
    from_start.first_frame = 0;
    EXPECT_EQ(fit_ringdown(steady, kRingRate, from_start).error().kind, ErrorKind::rejected) << "no decay";

    const auto x = let_go(10e3, 50, 400, 0.4);
    EXPECT_EQ(fit_ringdown(x, 0).error().kind, ErrorKind::bad_input);
    EXPECT_EQ(fit_ringdown(std::vector<double>{}, kRingRate).error().kind, ErrorKind::bad_input);
    RingdownOptions options;
    options.first_frame = 390;
    EXPECT_EQ(fit_ringdown(x, kRingRate, options).error().kind, ErrorKind::bad_input) << "ten frames";
    options.first_frame = 500;
    EXPECT_EQ(fit_ringdown(x, kRingRate, options).error().kind, ErrorKind::bad_input) << "beyond the end";
    options.first_frame = 0;
    options.frames = 500;
    EXPECT_EQ(fit_ringdown(x, kRingRate, options).error().kind, ErrorKind::bad_input);
    options.frames = std::nullopt;
    options.band = Band{200e3, 300e3};
    EXPECT_EQ(fit_ringdown(x, kRingRate, options).error().kind, ErrorKind::bad_input);
    auto broken = x;
    broken[17] = std::numeric_limits<double>::quiet_NaN();
    EXPECT_EQ(fit_ringdown(broken, kRingRate).error().kind, ErrorKind::bad_input);
}

}  // namespace
