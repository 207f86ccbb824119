// The judgement that a signal broke off, on made-up recordings.
#include "analyzer/audio/lost_signal.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

namespace coldtune::audio {
namespace {

constexpr double rate = 48000;
constexpr std::size_t lead_in = 4800;
constexpr std::size_t sounding = 48000;
constexpr std::size_t latency = 3000;

// 0.1 s of silence, 1 s of tone, 0.3 s of silence.
std::vector<float> tone(double frequency_hz = 1234, double level = 0.5) {
    std::vector<float> x(lead_in + sounding + 14400);
    for (std::size_t i = 0; i < sounding; ++i) {
        x[lead_in + i] =
            static_cast<float>(level * std::sin(2 * std::numbers::pi * frequency_hz * static_cast<double>(i) / rate));
    }
    return x;
}

std::vector<float> delayed(const std::vector<float>& x, float noise = 0) {
    std::vector<float> y(x.size());
    std::mt19937 random(7);
    std::normal_distribution<float> normal;
    for (std::size_t i = 0; i < y.size(); ++i) {
        y[i] = (i >= latency ? 0.7F * x[i - latency] : 0.0F) + (noise > 0 ? noise * normal(random) : 0.0F);
    }
    return y;
}

void quantise_16_bit(std::vector<float>& x) {
    for (float& sample : x) sample = std::round(sample * 32768.0F) / 32768.0F;
}

std::optional<LostSignal> watch(const std::vector<float>& stimulus, const std::vector<float>& recorded,
                                std::size_t chunk = 480) {
    SilenceWatch silence(stimulus, rate);
    for (std::size_t end = chunk; end < recorded.size(); end += chunk) {
        if (auto lost = silence.look(std::span(recorded).first(end), false)) return lost;
    }
    return silence.look(recorded, true);
}

TEST(SilenceWatch, IsContentWithAWholeSignal) {
    EXPECT_FALSE(watch(tone(), delayed(tone())));
    EXPECT_FALSE(watch(tone(), delayed(tone(), 1e-4F)));
    EXPECT_FALSE(find_faded_signal(tone(), delayed(tone()), rate));
    EXPECT_FALSE(find_faded_signal(tone(), delayed(tone(), 1e-4F), rate));
}

// A quantised slow sine stands still around its peaks, and a quiet one around zero: both are signals.
TEST(SilenceWatch, IsContentWithASixteenBitConverter) {
    for (const double frequency : {20.0, 1000.0}) {
        auto recorded = delayed(tone(frequency, 0.5));
        quantise_16_bit(recorded);
        EXPECT_FALSE(watch(tone(frequency, 0.5), recorded)) << frequency;
    }
    auto quiet = delayed(tone(1000, 0.5));
    for (float& x : quiet) x *= 1e-3F;
    quantise_16_bit(quiet);
    EXPECT_FALSE(watch(tone(1000, 0.5), quiet));
}

// Clipping is judged elsewhere: a square wave of 20 Hz holds each half for 25 ms.
TEST(SilenceWatch, LeavesClippingAlone) {
    auto recorded = delayed(tone(20));
    for (float& x : recorded) x = std::clamp(x * 1000, -0.3F, 0.3F);
    EXPECT_FALSE(watch(tone(20), recorded));
}

TEST(SilenceWatch, FindsWhereTheSignalWentSilentWhateverThePieces) {
    auto recorded = delayed(tone());
    std::fill(recorded.begin() + 30000, recorded.end(), 0.0F);
    for (const std::size_t chunk : {1UL, 64UL, 480UL, 100000UL}) {
        const auto lost = watch(tone(), recorded, chunk);
        ASSERT_TRUE(lost);
        EXPECT_EQ(lost->how, LostSignal::How::stuck);
        EXPECT_NEAR(lost->at_s, 30000 / rate, 1.5 / rate);  // the first equal pair begins there or a frame before
    }
}

TEST(SilenceWatch, FindsAHeldSampleAndAShortGap) {
    auto held = delayed(tone());
    std::fill(held.begin() + 30000, held.end(), 0.1F);
    ASSERT_TRUE(watch(tone(), held));
    auto gap = delayed(tone());
    std::fill_n(gap.begin() + 30000, 256, 0.0F);  // one usual buffer, 5.3 ms
    ASSERT_TRUE(watch(tone(), gap));
    EXPECT_NEAR(watch(tone(), gap)->at_s, 30000 / rate, 1.5 / rate);
}

TEST(SilenceWatch, AllowsThePausesOfTheStimulusAndItsEnd) {
    auto paused = tone();
    std::fill_n(paused.begin() + 20000, 9600, 0.0F);
    EXPECT_FALSE(watch(paused, delayed(paused)));
    // 0.2 s of pause and the 3 ms margin, but not 0.25 s.
    auto recorded = delayed(paused);
    std::fill_n(recorded.begin() + 20000 + latency, 12000, 0.0F);
    EXPECT_TRUE(watch(paused, recorded));
}

TEST(SilenceWatch, SaysWhenNothingCameAtAll) {
    const std::vector<float> nothing(tone().size(), 0.0F);
    const auto lost = watch(tone(), nothing);
    ASSERT_TRUE(lost);
    EXPECT_EQ(lost->how, LostSignal::How::never_came);
    EXPECT_NE(describe(*lost, "X", 2).find("input 3 of 'X'"), std::string::npos);
    // A stimulus that is silent itself loses nothing.
    EXPECT_FALSE(watch(nothing, nothing));
}

TEST(FadedSignal, FindsAPulledPlugBehindAConvertersNoise) {
    auto recorded = delayed(tone(), 3e-5F);  // -90 dB
    const auto noise = delayed(std::vector<float>(recorded.size()), 3e-5F);
    std::copy(noise.begin() + 30000, noise.end(), recorded.begin() + 30000);
    EXPECT_FALSE(watch(tone(), recorded));
    const auto lost = find_faded_signal(tone(), recorded, rate);
    ASSERT_TRUE(lost);
    EXPECT_EQ(lost->how, LostSignal::How::faded);
    EXPECT_NEAR(lost->at_s, 30000 / rate, 0.02);  // two blocks of 10 ms
}

// Input levels may differ widely along a sweep (a coil's own resonance on a mis-wired input): 40 dB is no loss.
TEST(FadedSignal, LeavesADeepDipAlone) {
    auto recorded = delayed(tone(), 3e-5F);
    std::for_each(recorded.begin() + 20000, recorded.begin() + 30000, [](float& x) { x *= 0.01F; });
    EXPECT_FALSE(find_faded_signal(tone(), recorded, rate));
}

}  // namespace
}  // namespace coldtune::audio
