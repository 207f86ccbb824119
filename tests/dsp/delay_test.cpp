// The delay between what was played and what was heard. Truth: the signals are built here with a known one.
#include "dsp/delay.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace coldtune::dsp {
namespace {

std::vector<double> noise(std::size_t frames, unsigned seed) {
    std::mt19937 random(seed);
    std::vector<double> x(frames);
    for (double& v : x) v = static_cast<double>(random()) / 2147483648.0 - 1;
    return x;
}

std::vector<double> delayed(const std::vector<double>& x, std::size_t delay, double gain, std::size_t frames) {
    std::vector<double> y(frames, 0.0);
    for (std::size_t i = 0; i < x.size() && i + delay < frames; ++i) y[i + delay] = gain * x[i];
    return y;
}

TEST(Delay, IsFoundToTheFrame) {
    const auto played = noise(5000, 1);
    for (const std::size_t delay : {std::size_t{0}, std::size_t{1}, std::size_t{777}, std::size_t{2000}}) {
        EXPECT_EQ(find_delay(played, delayed(played, delay, 0.3, 8000), 2000), delay);
        EXPECT_EQ(find_delay(played, delayed(played, delay, -0.3, 8000), 2000), delay) << "a turned plug";
    }
}

TEST(Delay, OfAPeriodicSignalIsTheFirstNotAnyPeriodLater) {
    const auto period = noise(3000, 2);
    std::vector<double> played;
    for (int i = 0; i < 4; ++i) played.insert(played.end(), period.begin(), period.end());
    EXPECT_EQ(find_delay(played, delayed(played, 1234, 0.01, 16000), 2900), 1234U);
}

TEST(Delay, SurvivesNoiseAndAFilter) {
    const auto played = noise(20000, 3);
    auto heard = delayed(played, 500, 0.05, 24000);
    for (std::size_t i = heard.size() - 1; i > 0; --i) heard[i] = 0.7 * heard[i] + 0.3 * heard[i - 1];
    const auto hiss = noise(24000, 4);
    for (std::size_t i = 0; i < heard.size(); ++i) heard[i] += 0.1 * hiss[i];
    EXPECT_EQ(find_delay(played, heard, 4000), 500U);
}

TEST(Delay, IsNotInventedForWhatIsNotThere) {
    const auto played = noise(20000, 5);
    EXPECT_FALSE(find_delay(played, noise(24000, 6), 4000));
    EXPECT_FALSE(find_delay(played, std::vector<double>(24000, 0.0), 4000));
    EXPECT_FALSE(find_delay({}, noise(100, 7), 10));
}

}  // namespace
}  // namespace coldtune::dsp
