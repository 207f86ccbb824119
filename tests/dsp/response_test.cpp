#include "dsp/response.hpp"

#include <gtest/gtest.h>

#include <limits>

#include "tests/dsp/signal_support.hpp"

namespace coldtune::dsp {
namespace {

using namespace testing;

// Reported variance against the true scatter; white noise of -100 dBFS in both channels, some thousand bins, 60
// captures.
class Scatter : public ::testing::TestWithParam<std::size_t> {};

TEST_P(Scatter, IsWhatTheVarianceSaysAndTheRatioIsUnbiased) {
    const std::size_t periods = GetParam();
    const Bench bench;
    std::mt19937_64 random(11 + periods);
    Score all, dip;
    for (int run = 0; run < 60; ++run) {
        auto capture = bench.capture(periods * bench.n);
        add_noise(capture.generator, rms_of_dbfs(-100), random);
        add_noise(capture.coil, rms_of_dbfs(-100), random);
        round_to(capture.generator, 24);
        round_to(capture.coil, 24);
        const auto response = periodic_response(capture, options_of(bench.n, 0));
        ASSERT_TRUE(response.ok()) << response.error().message;
        ASSERT_EQ(response->averages, periods);
        ASSERT_EQ(response->way, ResponseWay::whole_periods);
        for (std::size_t i = 0; i < response->ratio.size(); ++i) {
            const double f = response->frequency_hz[i];
            const Complex error = response->ratio[i] - bench.foot(f);
            all.add(error, response->variance[i]);
            if (std::abs(f - 20e3) < 400) dip.add(error, response->variance[i]);
        }
    }
    ASSERT_GT(all.bins, 100000U);
    // |error|^2/variance is a unit exponential: its mean over N bins scatters by 1/sqrt(N), 0.3 % for all and 3 % in
    // the dip. A variance pooled from d degrees of freedom makes the mean larger by 2/d: d is 400 or more, in the dip,
    // where the ratio changes from bin to bin, about 100. Four standard deviations and that.
    EXPECT_NEAR(all.ratio(), 1.0, 4 / std::sqrt(static_cast<double>(all.bins)) + 0.01);
    EXPECT_NEAR(dip.ratio(), 1.0, 4 / std::sqrt(static_cast<double>(dip.bins)) + 0.02);
    // Four sigma: once in 8000 runs by chance for each of the four means, with the seed fixed.
    EXPECT_LT(all.worst_mean_sigma(), 4.0);
    EXPECT_LT(dip.worst_mean_sigma(), 4.0);
}
INSTANTIATE_TEST_SUITE_P(Periods, Scatter, ::testing::Values(2, 3, 5, 8, 12));

TEST(PeriodicResponse, NoiseOfTheSourceCancels) {
    const Bench bench;
    std::mt19937_64 random(21);
    Score score;
    double with = 0, without = 0;
    for (int run = 0; run < 30; ++run) {
        auto capture = bench.capture(6 * bench.n);
        std::vector<double> source(6 * bench.n, 0.0);
        add_noise(source, rms_of_dbfs(-90), random);
        const auto through = steady(source, rate, bench.foot);
        auto quiet = capture;
        for (std::size_t i = 0; i < source.size(); ++i)
            capture.generator[i] += source[i], capture.coil[i] += through[i];
        for (auto* made : {&capture, &quiet}) {
            add_noise(made->generator, rms_of_dbfs(-100), random);
            add_noise(made->coil, rms_of_dbfs(-100), random);
        }
        const auto loud = periodic_response(capture, options_of(bench.n, 0)),
                   still = periodic_response(quiet, options_of(bench.n, 0));
        ASSERT_TRUE(loud.ok() && still.ok());
        for (std::size_t i = 0; i < loud->ratio.size(); ++i) {
            score.add(loud->ratio[i] - bench.foot(loud->frequency_hz[i]), loud->variance[i]);
            with += loud->variance[i];
            without += still->variance[i];
        }
    }
    // Source noise ten times the inputs' power: the ratio is no worse for it (what a period's edges leave of it is a
    // few per cent), and the variance knows.
    EXPECT_NEAR(with / without, 1.0, 0.1);
    EXPECT_NEAR(score.ratio(), 1.0, 0.1);
}

TEST(PeriodicResponse, AmplitudesAndNoisesAreInFullScale) {
    const Bench bench;
    std::mt19937_64 random(22);
    auto capture = bench.capture(8 * bench.n);
    const double rms_g = 1e-4, rms_c = 3e-5;
    add_noise(capture.generator, rms_g, random);
    add_noise(capture.coil, rms_c, random);
    const auto response = periodic_response(capture, options_of(bench.n, 0));
    ASSERT_TRUE(response.ok());
    double power = 0, ng = 0, nc = 0;
    for (std::size_t i = 0; i < response->ratio.size(); ++i) {
        power += response->generator_amplitude[i] * response->generator_amplitude[i] / 2;
        EXPECT_NEAR(response->coil_amplitude[i] / response->generator_amplitude[i], std::abs(response->ratio[i]), 1e-9);
        ng += response->generator_noise[i] * response->generator_noise[i];
        nc += response->coil_noise[i] * response->coil_noise[i];
    }
    double expected = 0;
    for (const double v : bench.generator) expected += v * v / static_cast<double>(bench.n);
    EXPECT_NEAR(power, expected, 2e-3 * expected);  // noise of -80 dBFS adds under 1e-4
    // A line's complex noise over n frames is 4 sigma^2 / n, over 8 averages. 1800 bins of 14 degrees of freedom know
    // it to 1 %; five of these.
    const double bins = static_cast<double>(response->ratio.size());
    EXPECT_NEAR(ng / bins, 4 * rms_g * rms_g / static_cast<double>(bench.n) / 8, 0.05 * ng / bins);
    EXPECT_NEAR(nc / bins, 4 * rms_c * rms_c / static_cast<double>(bench.n) / 8, 0.05 * nc / bins);
}

TEST(PeriodicResponse, OneSpoiledBinGetsItsOwnVarianceAndLeavesItsNeighboursAlone) {
    const Bench bench(16384);
    std::mt19937_64 random(23);
    auto capture = bench.capture(6 * bench.n);
    add_noise(capture.generator, 1e-5, random);
    add_noise(capture.coil, 1e-5, random);
    auto clean = capture;
    // A carrier of 1e-3 at bin 3000 and a third: not steady from period to period, its skirts fall by 1/distance.
    const double turn = 2 * std::numbers::pi * (3000 + 1.0 / 3) / static_cast<double>(bench.n);
    for (std::size_t i = 0; i < capture.frames(); ++i)
        capture.coil[i] += 1e-3 * std::sin(turn * static_cast<double>(i));
    const auto response = periodic_response(capture, options_of(bench.n, 0)),
               before = periodic_response(clean, options_of(bench.n, 0));
    ASSERT_TRUE(response.ok() && before.ok());
    ASSERT_EQ(response->ratio.size(), before->ratio.size());
    const auto index = [&](std::size_t bin) {
        return bin - static_cast<std::size_t>(
                         std::lround(response->frequency_hz.front() * static_cast<double>(bench.n) / rate));
    };
    EXPECT_GT(response->variance[index(3000)], 1000 * before->variance[index(3000)]);
    // A hundred bins away the carrier's skirt is still 1e-3 * 0.28/100 against a noise of 1e-5 * 2/sqrt(n) = 1.6e-7: it
    // is noise there, rightly. Two thousand bins away it is under it.
    for (const std::size_t bin : {5500U, 6000U, 7000U})
        EXPECT_LT(response->variance[index(bin)], 1.6 * before->variance[index(bin)]);
    double chi = 0;
    for (std::size_t i = 0; i < response->ratio.size(); ++i)
        chi = std::max(chi,
                       std::norm(response->ratio[i] - bench.foot(response->frequency_hz[i])) / response->variance[i]);
    EXPECT_LT(chi, 30.0);  // exp(-30) times 7000 bins: no bin is far worse than it says
}

TEST(PeriodicResponse, RoundingThatRepeatsIsPartOfTheVariance) {
    // 16 bits and no noise: every period is the same to the bit, scatter is zero, yet the ratio is not exact.
    const Bench bench(16384);
    auto capture = bench.capture(5 * bench.n);
    round_to(capture.generator, 16);
    round_to(capture.coil, 16);
    const auto response = periodic_response(capture, options_of(bench.n, 0));
    ASSERT_TRUE(response.ok()) << response.error().message;
    Score score;
    for (std::size_t i = 0; i < response->ratio.size(); ++i)
        score.add(response->ratio[i] - bench.foot(response->frequency_hz[i]), response->variance[i]);
    // White rounding noise of step^2/12 is a model; 7000 bins would hold 1.2 % of it.
    EXPECT_NEAR(score.ratio(), 1.0, 0.15);
}

TEST(PeriodicResponse, FindsTheSignalWhereverItLies) {
    const Bench bench;
    const std::size_t n = bench.n;
    struct Case {
        std::size_t lead_in, fade, lead_out;
        double noise;
    };
    for (const Case& c :
         {Case{0, 0, 0, 0}, Case{1000, 0, 0, 0}, Case{12345, 300, 9000, 0}, Case{12345, 300, 9000, 1e-3},
          Case{30000, 2000, 30000, 1e-2}, Case{700, 50, 100, 1e-4}, Case{100, 0, 50, 1e-5}}) {
        auto capture = bench.played(6, c.lead_in, c.fade, c.lead_out);
        std::mt19937_64 random(31);
        if (c.noise > 0) add_noise(capture.generator, c.noise, random), add_noise(capture.coil, c.noise, random);
        const auto response = periodic_response(capture, options_of(n));
        ASSERT_TRUE(response.ok()) << response.error().message;
        // All five periods after the settling one; the window may begin a twentieth of a period early.
        EXPECT_EQ(response->averages, 5U) << c.lead_in << ' ' << c.noise;
        EXPECT_GE(response->first_frame + n / 20 + 100, c.lead_in + n) << c.lead_in;
        EXPECT_LE(response->first_frame, c.lead_in + n + n / 10) << c.lead_in;
        double chi = 0;
        for (std::size_t i = 0; i < response->ratio.size(); ++i)
            chi = std::max(chi, std::norm(response->ratio[i] - bench.foot(response->frequency_hz[i])) /
                                    (response->variance[i] + 1e-18));
        if (c.noise > 0) {
            EXPECT_LT(chi, 30.0) << c.lead_in << ' ' << c.noise;
        }
    }
}

TEST(PeriodicResponse, AcceptsACaptureThatBeginsAndEndsInTheMiddle) {
    const Bench bench;
    auto capture = bench.capture(5 * bench.n + 1234, 777);
    std::mt19937_64 random(32);
    add_noise(capture.generator, 1e-5, random);
    add_noise(capture.coil, 1e-5, random);
    const auto response = periodic_response(capture, options_of(bench.n));
    ASSERT_TRUE(response.ok());
    EXPECT_EQ(response->averages, 4U);
    EXPECT_EQ(response->frames_used, 4 * bench.n);
    for (std::size_t i = 0; i < response->ratio.size(); ++i)
        EXPECT_LT(std::norm(response->ratio[i] - bench.foot(response->frequency_hz[i])), 30 * response->variance[i]);
}

TEST(PeriodicResponse, KeepsTheLongestSteadyStretch) {
    const Bench bench;
    auto capture = bench.capture(9 * bench.n);
    std::mt19937_64 random(33);
    add_noise(capture.generator, 1e-5, random);
    add_noise(capture.coil, 1e-5, random);
    // Torn in the third period: 200 frames of zeros.
    for (std::size_t i = 0; i < 200; ++i)
        capture.generator[2 * bench.n + 500 + i] = capture.coil[2 * bench.n + 500 + i] = 0;
    const auto response = periodic_response(capture, options_of(bench.n, 0));
    ASSERT_TRUE(response.ok());
    EXPECT_EQ(response->averages, 6U);
    EXPECT_EQ(response->first_frame, 3 * bench.n);
    for (std::size_t i = 0; i < response->ratio.size(); ++i)
        EXPECT_LT(std::norm(response->ratio[i] - bench.foot(response->frequency_hz[i])), 30 * response->variance[i]);
}

TEST(PeriodicResponse, KeepsOnlyWhatTheGeneratorExcites) {
    const Bench bench(8192, {5000, 40000});
    auto capture = bench.capture(5 * bench.n);
    std::mt19937_64 random(34);
    add_noise(capture.generator, 1e-5, random);
    add_noise(capture.coil, 1e-5, random);
    // Mains at a bin of its own, steady with the period, as strong as the stimulus' lines.
    const double hum = 2 * std::numbers::pi * 7 / static_cast<double>(bench.n);
    for (std::size_t i = 0; i < capture.frames(); ++i)
        capture.generator[i] += 0.01 * std::sin(hum * static_cast<double>(i));
    auto options = options_of(bench.n);
    const auto response = periodic_response(capture, options);
    ASSERT_TRUE(response.ok());
    EXPECT_GE(response->frequency_hz.front(), 5000);
    EXPECT_LE(response->frequency_hz.back(), 40000);
    EXPECT_NEAR(static_cast<double>(response->ratio.size()), 35000 * 8192 / rate, 2);
    for (std::size_t i = 1; i < response->frequency_hz.size(); ++i)
        EXPECT_GT(response->frequency_hz[i], response->frequency_hz[i - 1]);
    options.band = Band{10000, 12000};
    const auto narrow = periodic_response(capture, options);
    ASSERT_TRUE(narrow.ok());
    EXPECT_GE(narrow->frequency_hz.front(), 10000);
    EXPECT_LE(narrow->frequency_hz.back(), 12000);
}

TEST(PeriodicResponse, NoiseOfASinglePeriodComesFromSilence) {
    const Bench bench;
    std::mt19937_64 random(35);
    Score score;
    for (int run = 0; run < 40; ++run) {
        auto capture = bench.played(2, 20000, 200, 20000);
        add_noise(capture.generator, 1e-4, random);
        add_noise(capture.coil, 1e-4, random);
        const auto response = periodic_response(capture, options_of(bench.n));
        ASSERT_TRUE(response.ok()) << response.error().message;
        ASSERT_EQ(response->averages, 1U);
        EXPECT_FALSE(response->clock_drift_ppm.has_value());
        for (std::size_t i = 0; i < response->ratio.size(); ++i)
            score.add(response->ratio[i] - bench.foot(response->frequency_hz[i]), response->variance[i]);
    }
    // 72000 bins: 0.4 %; a density from 16 segments has about 30 degrees of freedom, which adds 2/30 on the mean.
    EXPECT_NEAR(score.ratio(), 1.07, 0.05);
}

TEST(PeriodicResponse, SaysWhyItCannot) {
    const Bench bench;
    const std::size_t n = bench.n;
    const auto says = [&](const TwoChannelCapture& capture, const PeriodicOptions& options, const std::string& word) {
        const auto response = periodic_response(capture, options);
        EXPECT_FALSE(response.ok()) << word;
        if (response.ok()) return;
        EXPECT_EQ(response.error().kind, ErrorKind::bad_input);
        EXPECT_NE(response.error().message.find(word), std::string::npos) << response.error().message;
        EXPECT_EQ(response.error().message.find('\n'), std::string::npos);
    };
    says(bench.capture(n / 2), options_of(n), "shorter than one period");
    says(bench.capture(n + n / 2), options_of(n), "settling");
    says({rate, std::vector<double>(4 * n), std::vector<double>(4 * n)}, options_of(n), "no signal");
    says({rate, std::vector<double>(4 * n, 0.25), std::vector<double>(4 * n)}, options_of(n), "no signal");
    says(bench.capture(6 * n), options_of(n - 100), "every");
    auto noise = bench.capture(6 * n);
    std::mt19937_64 random(36);
    add_noise(noise.generator, 1.0, random);
    says(noise, options_of(n), "does not repeat");
    auto bad = bench.capture(6 * n);
    bad.coil[12345] = std::numeric_limits<double>::quiet_NaN();
    says(bad, options_of(n), "coil channel holds a value that is no number at frame 12345");
    bad.generator[3] = std::numeric_limits<double>::infinity();
    says(bad, options_of(n), "generator channel");
    auto uneven = bench.capture(6 * n);
    uneven.coil.pop_back();
    says(uneven, options_of(n), "differ in length");
    auto no_rate = bench.capture(6 * n);
    no_rate.sample_rate_hz = 0;
    says(no_rate, options_of(n), "sample rate");
    says(bench.capture(6 * n), options_of(3), "at least");
    auto outside = options_of(n);
    outside.band = Band{90000, 95000};
    says(bench.capture(6 * n), outside, "band");
}

}  // namespace
}  // namespace coldtune::dsp
