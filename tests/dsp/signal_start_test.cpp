#include "dsp/response.hpp"

#include <gtest/gtest.h>

#include "tests/dsp/signal_support.hpp"

namespace coldtune::dsp {
namespace {

using namespace testing;

TEST(FindSignalStart, SeesPastNoiseHumAndClicks) {
    const Bench bench;
    const auto start_of = [&](double noise, double hum, double offset, bool click) {
        auto channel = bench.played(3, 10000, 400, 5000).generator;
        std::mt19937_64 random(51);
        if (noise > 0) add_noise(channel, noise, random);
        for (std::size_t i = 0; i < channel.size(); ++i)
            channel[i] += offset + hum * std::sin(2 * std::numbers::pi * 50 * static_cast<double>(i) / rate);
        if (click) channel[4000] += 0.5, channel[4001] -= 0.3;
        return find_signal_start(channel);
    };
    for (const auto& found :
         {start_of(0, 0, 0, false), start_of(1e-5, 0, 0, false), start_of(1e-2, 0, 0, false),
          start_of(1e-4, 1e-2, 0, false), start_of(1e-4, 0, 0.05, false), start_of(1e-4, 0, 0, true)}) {
        ASSERT_TRUE(found.has_value());
        // Within the fade of 400 frames, or one block of 64 before it.
        EXPECT_GE(*found, 10000U - 64);
        EXPECT_LE(*found, 10400U);
    }
    EXPECT_EQ(find_signal_start(bench.capture(20000, 100).generator).value_or(99), 0U);
    EXPECT_FALSE(find_signal_start(std::vector<double>(1000, 0.0)).has_value());
    EXPECT_FALSE(find_signal_start(std::vector<double>(1000, -0.4)).has_value());
    EXPECT_FALSE(find_signal_start({}).has_value());
}

TEST(RepeatsWithPeriod, BelievesOnlyTheTruePeriod) {
    const Bench bench;
    const std::size_t n = bench.n;
    auto capture = bench.played(5, 3000, 100, 3000);
    std::mt19937_64 random(52);
    add_noise(capture.generator, 1e-2, random);
    EXPECT_TRUE(repeats_with_period(capture, n));
    EXPECT_TRUE(repeats_with_period(capture, 2 * n));
    EXPECT_FALSE(repeats_with_period(capture, n + 40));
    EXPECT_FALSE(repeats_with_period(capture, n / 2));
    EXPECT_FALSE(repeats_with_period(capture, 0));
    EXPECT_FALSE(repeats_with_period(capture, 10 * n));
    std::vector<double> noise(5 * n, 0.0);
    add_noise(noise, 0.1, random);
    EXPECT_FALSE(repeats_with_period({rate, noise, noise}, n));
    EXPECT_FALSE(repeats_with_period({rate, std::vector<double>(5 * n), std::vector<double>(5 * n)}, n));
}

}  // namespace
}  // namespace coldtune::dsp
