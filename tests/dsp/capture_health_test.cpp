#include "dsp/capture_health.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <random>

#include "tests/dsp/signal_support.hpp"

namespace coldtune::dsp {
namespace {

using testing::add_noise;
using testing::exact_samples;
using testing::Foot;
using testing::repeat;
using testing::round_to;
using testing::steady;

constexpr double kHealthRate = 96000;
constexpr std::size_t n = 16384;
constexpr std::size_t lead = 24000;

// Six periods of a sweep through the foot, silences around it, noise of -96 dBFS and 24 bits: nothing to complain
// about.
TwoChannelCapture good(unsigned seed = 1, Band band = {2000, 30000}, double level_dbfs = -6) {
    PeriodicSweep sweep;
    sweep.sample_rate_hz = kHealthRate;
    sweep.period_frames = n;
    sweep.periods = 6;
    sweep.band = band;
    sweep.level_dbfs = level_dbfs;
    sweep.lead_in_frames = lead;
    sweep.fade_frames = 256;
    sweep.lead_out_frames = 24000;
    TwoChannelCapture capture{kHealthRate, *render(sweep), {}};
    // The whole record is one long period: linear, with the ring-down in the silence.
    capture.coil = steady(capture.generator, kHealthRate, Foot{12e3, 30, 3e3, 30e-12, 10e3});
    std::mt19937_64 random(seed);
    add_noise(capture.generator, 1e-5, random);
    add_noise(capture.coil, 1e-5, random);
    return capture;
}

void to_24_bits(TwoChannelCapture& capture) {
    round_to(capture.generator, 24);
    round_to(capture.coil, 24);
}

CaptureHealth of(TwoChannelCapture capture, std::size_t period = n) {
    to_24_bits(capture);
    return examine(capture, period, nullptr);
}

TEST(CaptureHealth, FindsNothingWrongWithAGoodCapture) {
    for (const std::size_t period : {n, std::size_t{0}}) {
        const auto health = of(good(), period);
        EXPECT_EQ(health.generator.clipped_frames, 0U);
        EXPECT_EQ(health.coil.clipped_frames, 0U);
        EXPECT_TRUE(health.dropouts.empty()) << period << ' ' << health.dropouts.front().first_frame;
        EXPECT_FALSE(health.hum.has_value());
        EXPECT_LT(std::abs(health.generator.dc_offset), 1e-4);
        EXPECT_EQ(health.clock_drift_ppm.has_value(), period > 0);
        EXPECT_EQ(health.unsteadiness_sigma.has_value(), period > 0);
    }
    const auto health = of(good());
    EXPECT_LT(std::abs(*health.clock_drift_ppm), 0.02);
    // The largest of some 300 rms of 16 unit exponentials.
    EXPECT_GT(*health.unsteadiness_sigma, 1.0);
    EXPECT_LT(*health.unsteadiness_sigma, 2.0);
    // 5 averages of noise over 11000 silent bins against the sweep: a bound far under any converter's distortion.
    EXPECT_LT(health.generator_distortion_db.value_or(-400), -100);
    EXPECT_LT(health.coil_distortion_db.value_or(-400), -100);
}

TEST(CaptureHealth, GivesTheSameWithTheResponseHandedOver) {
    auto capture = good();
    to_24_bits(capture);
    PeriodicOptions options;
    options.period_frames = n;
    const auto response = periodic_response(capture, options);
    ASSERT_TRUE(response.ok());
    const auto with = examine(capture, n, &*response), without = examine(capture, n, nullptr);
    EXPECT_EQ(with.unsteadiness_sigma, without.unsteadiness_sigma);
    EXPECT_EQ(with.clock_drift_ppm, without.clock_drift_ppm);
    EXPECT_EQ(with.coil_distortion_db, without.coil_distortion_db);
    EXPECT_EQ(with.coil.noise_dbfs, without.coil.noise_dbfs);
}

// Levels as AES17 counts them: the rms of a full-scale sine is 0 dBFS.
TEST(CaptureHealth, MeasuresLevels) {
    TwoChannelCapture capture{kHealthRate, std::vector<double>(96000), std::vector<double>(96000)};
    for (std::size_t i = 0; i < capture.frames(); ++i) {
        const double s = std::sin(2 * std::numbers::pi * 997 * static_cast<double>(i) / kHealthRate);
        capture.generator[i] = s;
        capture.coil[i] = 0.1 * s + 0.01;
    }
    const auto health = examine(capture, 0, nullptr);
    EXPECT_NEAR(health.generator.peak_dbfs, 0.0, 1e-4);
    EXPECT_NEAR(health.generator.rms_dbfs, 0.0, 1e-3);
    EXPECT_NEAR(health.coil.rms_dbfs, -20.0, 1e-3);
    EXPECT_NEAR(health.coil.peak_dbfs, 20 * std::log10(0.11), 1e-3);
    EXPECT_NEAR(health.coil.dc_offset, 0.01, 1e-4);
    EXPECT_EQ(health.generator.noise_dbfs, -400);

    const TwoChannelCapture nothing{kHealthRate, std::vector<double>(1000), std::vector<double>(1000)};
    const auto silent = examine(nothing, 0, nullptr);
    EXPECT_EQ(silent.generator.peak_dbfs, -400);
    EXPECT_EQ(silent.coil.rms_dbfs, -400);
    EXPECT_TRUE(silent.dropouts.empty());
    EXPECT_EQ(examine({}, 0, nullptr).coil.peak_dbfs, -400);
    auto broken = good();
    broken.coil[5] = std::numeric_limits<double>::quiet_NaN();
    EXPECT_EQ(examine(broken, n, nullptr).coil.peak_dbfs, -400);
}

TEST(CaptureHealth, MeasuresNoiseFromSilenceAndFromScatter) {
    // Noise of 1e-5 rms is 20 lg(1e-5 sqrt 2) = -96.99 dBFS. From silence: 18000 values, 0.1 dB; from scatter the
    // median over thousands of bins, 0.2 dB.
    const double expected = 20 * std::log10(1e-5 * std::numbers::sqrt2);
    EXPECT_NEAR(of(good()).generator.noise_dbfs, expected, 0.3);
    EXPECT_NEAR(of(good()).coil.noise_dbfs, expected, 0.3);
    auto capture = good();
    const auto cut = [](std::vector<double>& channel) {
        channel = {channel.begin() + lead + 1000, channel.begin() + static_cast<std::ptrdiff_t>(lead + 6 * n - 1000)};
    };
    cut(capture.generator);
    cut(capture.coil);
    EXPECT_NEAR(of(capture).generator.noise_dbfs, expected, 0.3);
    EXPECT_NEAR(of(capture).coil.noise_dbfs, expected, 0.3);
}

TEST(Clipped, IsSeenAtFullScaleAndBelow) {
    for (const double ceiling : {1.0, 0.62, 0.3}) {
        auto capture = good(2, {2000, 30000}, 0);
        double peak = 0;
        for (const double v : capture.coil) peak = std::max(peak, std::abs(v));
        // The sweep's envelope is 1.41 / 1.65 of its peak: at 0.6 of the peak every wave is cut.
        for (double& v : capture.coil) v = std::clamp(v * ceiling / (0.6 * peak), -ceiling, ceiling);
        const auto health = of(capture);
        EXPECT_GT(health.coil.clipped_frames, 100U) << ceiling;
        EXPECT_EQ(health.generator.clipped_frames, 0U);
    }
    // Clipped on one side only, by an offset.
    auto capture = good(3);
    for (double& v : capture.generator) v = std::min(v, 0.3);
    EXPECT_GT(of(capture).generator.clipped_frames, 100U);
}

TEST(Clipped, IsNotSeenInSlowOrSquareishOrQuietWaves) {
    TwoChannelCapture capture{kHealthRate, std::vector<double>(96000), std::vector<double>(96000)};
    for (std::size_t i = 0; i < capture.frames(); ++i) {
        // 20 Hz rests for 50 samples on its highest 16-bit step.
        capture.generator[i] = 0.9 * std::sin(2 * std::numbers::pi * 20 * static_cast<double>(i) / kHealthRate);
        // A whisper of three steps.
        capture.coil[i] = 3.2 / 32768 * std::sin(2 * std::numbers::pi * 1000 * static_cast<double>(i) / kHealthRate);
    }
    round_to(capture.generator, 16);
    round_to(capture.coil, 16);
    const auto health = examine(capture, 0, nullptr);
    EXPECT_EQ(health.generator.clipped_frames, 0U);
    EXPECT_EQ(health.coil.clipped_frames, 0U);
    // A sweep that just touches full scale.
    EXPECT_EQ(of(good(4, {2000, 30000}, 0)).generator.clipped_frames, 0U);
}

TEST(Dropouts, ZerosInTheMiddle) {
    for (const std::size_t length : {32U, 480U, 5000U}) {
        auto capture = good();
        const std::size_t at = lead + 3 * n + 777;
        for (std::size_t i = at; i < at + length; ++i) capture.generator[i] = capture.coil[i] = 0;
        for (const std::size_t period : {n, std::size_t{0}}) {
            const auto health = of(capture, period);
            ASSERT_EQ(health.dropouts.size(), 1U) << length << ' ' << period;
            EXPECT_NEAR(static_cast<double>(health.dropouts[0].first_frame), static_cast<double>(at), 300) << length;
            EXPECT_GE(health.dropouts[0].frames, length);
        }
    }
}

TEST(Dropouts, AHeldSampleAndABufferPlayedTwice) {
    auto held = good();
    for (std::size_t i = 60000; i < 60100; ++i) held.coil[i] = held.coil[60000];
    ASSERT_EQ(of(held, 0).dropouts.size(), 1U);
    EXPECT_NEAR(static_cast<double>(of(held, 0).dropouts[0].first_frame), 60000, 2);
    EXPECT_NEAR(static_cast<double>(of(held, 0).dropouts[0].frames), 100, 3);
    for (const std::size_t buffer : {64U, 480U, 1024U}) {
        auto twice = good();
        for (std::size_t i = 60000; i < 60000 + buffer; ++i) {
            twice.generator[i] = twice.generator[i - buffer];
            twice.coil[i] = twice.coil[i - buffer];
        }
        for (const std::size_t period : {n, std::size_t{0}}) {
            const auto health = of(twice, period);
            ASSERT_EQ(health.dropouts.size(), 1U) << buffer << ' ' << period;
            EXPECT_NEAR(static_cast<double>(health.dropouts[0].first_frame), 60000, 300) << buffer;
        }
    }
}

TEST(Dropouts, FramesLostOrInsertedAreAJump) {
    for (const int lost : {1, 37, 1024}) {
        auto capture = good();
        const std::ptrdiff_t at = lead + 3 * static_cast<std::ptrdiff_t>(n) + 5000;
        for (auto* channel : {&capture.generator, &capture.coil})
            channel->erase(channel->begin() + at, channel->begin() + at + lost);
        const auto health = of(capture);
        ASSERT_EQ(health.dropouts.size(), 1U) << lost;
        EXPECT_EQ(health.dropouts[0].frames, 0U) << lost;
        // Known to a block, and where low frequencies sound a jump of one frame hardly shows.
        EXPECT_NEAR(static_cast<double>(health.dropouts[0].first_frame), static_cast<double>(at), n / 3.0) << lost;
    }
    auto capture = good();
    for (auto* channel : {&capture.generator, &capture.coil}) {
        std::vector<double> extra(channel->begin() + 59000, channel->begin() + 59000 + 700);
        channel->insert(channel->begin() + 60000, extra.begin(), extra.end());
    }
    const auto health = of(capture);
    ASSERT_EQ(health.dropouts.size(), 1U);
    EXPECT_EQ(health.dropouts[0].frames, 0U);
}

TEST(Dropouts, AreNotSeenInDriftNoiseOrSilence) {
    // Another clock: 100 ppm.
    PeriodicSweep sweep;
    sweep.sample_rate_hz = kHealthRate;
    sweep.period_frames = 4096;
    sweep.periods = 1;
    sweep.band = {2000, 40000};
    const auto period = *sweep_period(sweep);
    TwoChannelCapture drifting{kHealthRate, exact_samples(period, 6 * 4096, 0.2, 1 - 100e-6), {}};
    drifting.coil = drifting.generator;
    std::mt19937_64 random(7);
    add_noise(drifting.generator, 1e-4, random);
    add_noise(drifting.coil, 1e-4, random);
    const auto drift = of(drifting, 4096);
    EXPECT_TRUE(drift.dropouts.empty());
    ASSERT_TRUE(drift.clock_drift_ppm.has_value());
    EXPECT_NEAR(*drift.clock_drift_ppm, 100, 0.05);

    auto noisy = good();
    add_noise(noisy.generator, 0.02, random);
    EXPECT_TRUE(of(noisy).dropouts.empty());

    // A coil channel of two 16-bit steps rests on its steps and is no dropout.
    auto faint = good();
    for (double& v : faint.coil) v *= 1e-4;
    round_to(faint.coil, 16);
    EXPECT_TRUE(examine(faint, n, nullptr).dropouts.empty());

    // Perfectly repeating, without any noise: period 1024 equals itself a buffer later, and that is no dropout.
    sweep.period_frames = 1024;
    const auto exact = repeat(*sweep_period(sweep), 20 * 1024);
    EXPECT_TRUE(examine({kHealthRate, exact, exact}, 0, nullptr).dropouts.empty());
    EXPECT_TRUE(examine({kHealthRate, exact, exact}, 1024, nullptr).dropouts.empty());
}

TEST(Hum, IsFoundAndNamed) {
    for (const auto& [mains, frequency] :
         {std::pair{50.0, 49.98}, std::pair{50.0, 150.1}, std::pair{60.0, 60.02}, std::pair{60.0, 180.0}}) {
        auto capture = good();
        for (std::size_t i = 0; i < capture.frames(); ++i)
            capture.coil[i] +=
                2e-3 * std::sin(2 * std::numbers::pi * frequency * static_cast<double>(i) / kHealthRate + 0.3);
        const auto health = of(capture);
        ASSERT_TRUE(health.hum.has_value()) << frequency;
        EXPECT_EQ(health.hum->mains_hz, mains);
        // A Hann window 0.1 bins off its line keeps it to 0.1 dB; 1 Hz bins here.
        EXPECT_NEAR(health.hum->amplitude, 2e-3, 1e-4) << frequency;
        EXPECT_NEAR(health.hum->relative_to_signal_db, 20 * std::log10(2e-3) - health.coil.rms_dbfs, 0.5);
        // It is not taken for distortion, a dropout or anything moving.
        EXPECT_TRUE(health.dropouts.empty());
    }
}

TEST(Hum, IsNotSeenElsewhereInNoiseOrInTheSweepItself) {
    auto other = good();
    for (std::size_t i = 0; i < other.frames(); ++i)
        other.coil[i] += 2e-3 * std::sin(2 * std::numbers::pi * 77.0 * static_cast<double>(i) / kHealthRate);
    EXPECT_FALSE(of(other).hum.has_value());
    std::mt19937_64 random(9);
    auto noisy = good();
    add_noise(noisy.coil, 1e-2, random);
    EXPECT_FALSE(of(noisy).hum.has_value());
    EXPECT_FALSE(of(good(10, {20, 2000})).hum.has_value());
    auto brief = good();
    brief.generator.resize(20000);
    brief.coil.resize(20000);
    EXPECT_FALSE(of(brief, 0).hum.has_value());
}

TEST(Distortion, IsReadAtSilentBins) {
    // Third-order curve y = x - a x^3 in the coil channel only.
    auto capture = good(11, {2000, 12000});
    const auto before = of(capture);
    for (double& v : capture.coil) v -= 0.02 * v * v * v;
    const auto health = of(capture);
    ASSERT_TRUE(health.coil_distortion_db.has_value());
    EXPECT_LT(before.coil_distortion_db.value_or(-400), -95);
    EXPECT_GT(*health.coil_distortion_db, -70);
    EXPECT_LT(*health.coil_distortion_db, -40);
    EXPECT_LT(health.generator_distortion_db.value_or(-400), -95);

    // Against the definition: the same curve on one exact period, its energy outside the band.
    PeriodicSweep sweep;
    sweep.sample_rate_hz = kHealthRate;
    sweep.period_frames = n;
    sweep.periods = 1;
    sweep.band = {2000, 12000};
    auto period = steady(*sweep_period(sweep), kHealthRate, Foot{12e3, 30, 3e3, 30e-12, 10e3});
    for (double& v : period) v -= 0.02 * v * v * v;
    RealFft fft(n);
    std::copy(period.begin(), period.end(), fft.time().begin());
    fft.forward();
    double in = 0, out = 0, in_bins = 0, out_bins = 0;
    for (std::size_t k = 1; k <= n * 93 / 200; ++k) {
        const double f = static_cast<double>(k) * kHealthRate / n;
        if (f < 700) continue;
        const bool excited = f >= 2000 && f <= 12000;
        (excited ? in : out) += std::norm(fft.spectrum()[k]);
        (excited ? in_bins : out_bins) += 1;
    }
    EXPECT_NEAR(*health.coil_distortion_db, 10 * std::log10(out / out_bins / (in / in_bins)), 0.2);
}

TEST(Unsteadiness, IsSeenWhenTheCoilMovesAndNotWhenTheLevelDoes) {
    PeriodicSweep sweep;
    sweep.sample_rate_hz = kHealthRate;
    sweep.period_frames = n;
    sweep.periods = 1;
    sweep.band = {2000, 30000};
    const auto period = *sweep_period(sweep);
    const Foot foot{12e3, 60, 3e3, 30e-12, 10e3};
    Foot moved = foot;
    moved.f0 *= 1.0005;
    const auto still = steady(period, kHealthRate, foot), after = steady(period, kHealthRate, moved);
    const auto made = [&](bool moves, double gain) {
        TwoChannelCapture capture{kHealthRate, repeat(period, 8 * n), repeat(still, 8 * n)};
        for (std::size_t i = 4 * n; i < 8 * n; ++i) {
            if (moves) capture.coil[i] = after[i % n];
            capture.coil[i] *= gain;
            capture.generator[i] *= gain;
        }
        std::mt19937_64 random(12);
        add_noise(capture.generator, 1e-5, random);
        add_noise(capture.coil, 1e-5, random);
        return capture;
    };
    PeriodicOptions options;
    options.period_frames = n;
    options.settle_periods = 0;
    const auto sigma = [&](const TwoChannelCapture& capture) {
        const auto response = periodic_response(capture, options);
        EXPECT_TRUE(response.ok());
        return examine(capture, n, &*response).unsteadiness_sigma.value_or(-1);
    };
    EXPECT_LT(sigma(made(false, 1.0)), 2.0);
    EXPECT_GT(sigma(made(true, 1.0)), 2.5);
    // Both channels change together: the ratio does not.
    EXPECT_LT(sigma(made(false, 1.0005)), 2.0);
}

TEST(Quantities, ThatCannotBeKnownAreEmpty) {
    auto capture = good();
    const auto health = of(capture, 0);
    EXPECT_FALSE(health.generator_distortion_db.has_value());
    EXPECT_FALSE(health.coil_distortion_db.has_value());
    EXPECT_FALSE(health.unsteadiness_sigma.has_value());
    EXPECT_FALSE(health.clock_drift_ppm.has_value());
    // A period that is not the capture's.
    EXPECT_FALSE(of(capture, n - 500).unsteadiness_sigma.has_value());
}

TEST(CaptureHealth, TheSilenceBeforeASweepIsNoDropout) {
    auto capture = good();
    // No lead-in but a few frames of nothing, as an output gives that was started with the input.
    for (auto* channel : {&capture.generator, &capture.coil}) {
        channel->erase(channel->begin(), channel->begin() + lead);
        channel->insert(channel->begin(), 100, 0.0);
    }
    EXPECT_TRUE(of(capture).dropouts.empty());
    // The same silence inside the signal is one.
    std::fill_n(capture.generator.begin() + 3 * n, 100, 0.0);
    EXPECT_FALSE(of(capture).dropouts.empty());
}

TEST(CaptureHealth, TheFirstOfThreePeriodsMayFadeIn) {
    auto capture = good();
    for (auto* channel : {&capture.generator, &capture.coil}) {
        channel->resize(lead + 3 * n - 20);  // an onset found late leaves a little less than three
        channel->resize(channel->size() + 24000, 0.0);
    }
    EXPECT_TRUE(of(capture).dropouts.empty());
}

// Hum of a few steps rests on one value at each top.
TEST(CaptureHealth, SlowHumOfAFewStepsIsNoDropout) {
    auto capture = good();
    for (std::size_t i = 0; i < capture.frames(); ++i)
        capture.coil[i] = 45.0 / 32768 * std::sin(2 * std::numbers::pi * 50 * static_cast<double>(i) / kHealthRate);
    round_to(capture.generator, 16);
    round_to(capture.coil, 16);
    EXPECT_TRUE(examine(capture, n, nullptr).dropouts.empty());
}

TEST(CaptureHealth, AnOffsetIsNotClipping) {
    auto capture = good();
    std::mt19937_64 random(9);
    std::fill(capture.coil.begin(), capture.coil.end(), 0.09);
    add_noise(capture.coil, 3e-6, random);
    round_to(capture.coil, 24);
    EXPECT_EQ(examine(capture, n, nullptr).coil.clipped_frames, 0U);
    // Torn off above, the offset notwithstanding.
    auto torn = good();
    for (double& x : torn.coil) x = std::min(x + 0.3, 0.4);
    EXPECT_GT(of(torn).coil.clipped_frames, 100U);
}

// Hum of a grid at a usual rate, written down as if at another: 44.1 kHz for 48 kHz puts 50 Hz at 45.9.
TEST(CaptureHealth, HumBesideItsPlaceTellsAWrongRate) {
    const auto with_hum = [](double fundamental_hz) {
        auto capture = good();
        for (std::size_t i = 0; i < capture.frames(); ++i) {
            const double t = static_cast<double>(i) / kHealthRate;
            for (const double order : {1.0, 3.0, 5.0})
                capture.coil[i] += 1e-3 / order * std::sin(2 * std::numbers::pi * order * fundamental_hz * t);
        }
        return of(capture).displaced_mains;
    };
    for (const double mains : {50.0, 60.0}) {
        for (const double ratio : {44.1 / 48, 48 / 44.1, 0.5}) {
            const auto found = with_hum(mains * ratio * 1.0005);  // grids stray
            ASSERT_TRUE(found.has_value()) << mains << ' ' << ratio;
            EXPECT_EQ(found->mains_hz, mains);
            EXPECT_NEAR(found->seen_hz, mains * ratio * 1.0005, 0.5);  // half a bin
        }
        EXPECT_FALSE(with_hum(mains * 1.003).has_value());
        EXPECT_FALSE(with_hum(mains * 2).has_value());  // a rectifier
    }
    EXPECT_FALSE(with_hum(81.3).has_value());  // a fan
    EXPECT_FALSE(of(good()).displaced_mains.has_value());
}

// The lowest line asked for, 12.5 Hz, falls on bin 8 here and the peak on bin 7: its surroundings would begin before
// the spectrum does (found by the address sanitizer, for which this test is there).
TEST(CaptureHealth, ALineAtTheLowEndHasNoSurroundings) {
    std::mt19937_64 random(5);
    TwoChannelCapture capture{kHealthRate, std::vector<double>(61440), std::vector<double>(61440)};
    testing::add_noise(capture.generator, 1e-5, random);
    testing::add_noise(capture.coil, 1e-5, random);
    for (std::size_t i = 0; i < capture.frames(); ++i)
        capture.coil[i] += 0.01 * std::sin(2 * std::numbers::pi * 10.94 * static_cast<double>(i) / kHealthRate);
    EXPECT_FALSE(examine(capture, 0, nullptr).displaced_mains.has_value());
}

TEST(CaptureHealth, ALevelThatIsSetByItselfIsSeen) {
    auto capture = good();
    const auto steady_level = of(capture);
    EXPECT_LT(*steady_level.level_change, 0.003);
    EXPECT_LT(*steady_level.settling_level_change, 0.003);
    // A gain that creeps up by 3 % from the first period used to the last.
    for (auto* channel : {&capture.generator, &capture.coil})
        for (std::size_t i = 0; i < capture.frames(); ++i)
            (*channel)[i] *= 1 + 0.03 * static_cast<double>(i) / static_cast<double>(lead + 6 * n);
    const auto creeping = of(capture);
    EXPECT_GT(*creeping.level_change, 0.01);
    EXPECT_LT(*creeping.level_change, 0.03);
}

}  // namespace
}  // namespace coldtune::dsp
