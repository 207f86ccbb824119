#include "dsp/spectra.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>

#include "tests/dsp/reference_file.hpp"

namespace coldtune::dsp {
namespace {

using namespace testing;

// scipy.signal.welch, csd and coherence; 1e-9 relative is what the project promises.
TEST(AveragedSpectra, AgreeWithScipy) {
    const auto file = reference_file("scipy_spectra.json");
    const auto x = reals(file.at("x")), y = reals(file.at("y"));
    const double rate = file.at("sample_rate");
    ASSERT_GE(file.at("cases").size(), 5U);
    for (const auto& one : file.at("cases")) {
        const std::size_t segment = one.at("segment"), overlap = one.at("overlap");
        const auto spectra = averaged_spectra(x, y, rate, segment, overlap);
        const auto f = reals(one.at("frequency")), pxx = reals(one.at("pxx")), pyy = reals(one.at("pyy")),
                   coherence = reals(one.at("coherence"));
        const auto pxy = complexes(one.at("pxy"));
        ASSERT_EQ(spectra.first.size(), f.size());
        double typical_x = 0, typical_y = 0;
        for (std::size_t k = 0; k < f.size(); ++k) typical_x += pxx[k] / static_cast<double>(f.size());
        for (std::size_t k = 0; k < f.size(); ++k) typical_y += pyy[k] / static_cast<double>(f.size());
        for (std::size_t k = 0; k < f.size(); ++k) {
            EXPECT_NEAR(static_cast<double>(k) * spectra.bin_hz, f[k], 1e-9 * rate);
            // Taking off the mean leaves bin 0 a difference of large numbers: there relative to the typical density.
            EXPECT_NEAR(spectra.first[k], pxx[k], 1e-9 * (k == 0 ? typical_x : pxx[k]));
            EXPECT_NEAR(spectra.second[k], pyy[k], 1e-9 * (k == 0 ? typical_y : pyy[k]));
            EXPECT_LE(std::abs(spectra.cross[k] - pxy[k]),
                      1e-9 * std::sqrt(k == 0 ? typical_x * typical_y : pxx[k] * pyy[k]));
            EXPECT_NEAR(spectra.coherence(k), coherence[k], 1e-9);
            EXPECT_LE(std::abs(spectra.h1(k) - pxy[k] / pxx[k]), 1e-9 * std::sqrt(pyy[k] / pxx[k]));
        }
    }
    // The default overlap is half a segment, as there.
    const auto half = averaged_spectra(x, y, rate, 256), stated = averaged_spectra(x, y, rate, 256, 128);
    EXPECT_EQ(half.first, stated.first);
    EXPECT_EQ(half.segments, 13U);
}

// A part is what scipy-tested averaged_spectra gives for the stretch that holds its segments alone, and the whole is
// the mean of the parts by their segments.
TEST(AveragedSpectra, PartsAreThoseOfTheirStretches) {
    std::mt19937_64 engine(8);
    std::normal_distribution<double> normal;
    std::vector<double> x(1000), y(1000);
    for (auto& v : x) v = normal(engine);
    for (auto& v : y) v = normal(engine);
    for (const std::size_t segment : {100U, 101U}) {
        const std::size_t overlap = segment / 2, hop = segment - overlap;
        const auto whole = averaged_spectra(x, y, 48e3, segment, overlap, 4);
        ASSERT_EQ(whole.parts.size(), 4U);
        const std::size_t k = 17, each_but_last = (whole.segments + 3) / 4;
        double first = 0;
        for (std::size_t p = 0; p < 4; ++p) {
            // 18 or 19 segments: 5, 4, 5, 4 or 5, 5, 5, 4.
            std::size_t from = 0;
            while (from * 4 / whole.segments < p) ++from;
            std::size_t to = from;
            while (to < whole.segments && to * 4 / whole.segments == p) ++to;
            EXPECT_LE(to - from, each_but_last);
            const std::size_t frames = (to - from - 1) * hop + segment;
            const auto alone = averaged_spectra(std::span(x).subspan(from * hop, frames),
                                                std::span(y).subspan(from * hop, frames), 48e3, segment, overlap);
            ASSERT_EQ(alone.segments, to - from);
            for (std::size_t bin = 0; bin < alone.first.size(); ++bin) {
                EXPECT_NEAR(whole.parts[p].first[bin], alone.first[bin], 1e-12 * alone.first[bin]);
                EXPECT_LE(std::abs(whole.parts[p].cross[bin] - alone.cross[bin]), 1e-12 * std::abs(alone.cross[bin]));
            }
            first += whole.parts[p].first[k] * static_cast<double>(to - from) / static_cast<double>(whole.segments);
        }
        EXPECT_NEAR(first, whole.first[k], 1e-12 * first);
        EXPECT_TRUE(averaged_spectra(x, y, 48e3, 600, 300, 4).parts.empty());  // two segments
        EXPECT_EQ(averaged_spectra(x, y, 48e3, segment, overlap).first, whole.first);
    }
}

TEST(AveragedSpectra, SineHasItsPowerAndWhiteNoiseItsDensity) {
    const double rate = 96000;
    std::mt19937_64 random(5);
    std::normal_distribution<double> normal(0, 0.01);
    std::vector<double> sine(96000), noise(96000);
    for (std::size_t i = 0; i < sine.size(); ++i) {
        sine[i] = 0.5 * std::sin(2 * std::numbers::pi * 1000.0 * static_cast<double>(i) / rate);
        noise[i] = normal(random);
    }
    const auto spectra = averaged_spectra(sine, noise, rate, 960);
    double power = 0, density = 0;
    for (std::size_t k = 1; k + 1 < spectra.first.size(); ++k) {
        power += spectra.first[k] * spectra.bin_hz;
        density += spectra.second[k] / static_cast<double>(spectra.second.size() - 2);
    }
    EXPECT_NEAR(power, 0.125, 1e-6);  // a whole number of cycles in each segment: no leakage past the window's own
    // One-sided density 2 sigma^2 / fs; 96000 values know their variance to sqrt(2/96000) = 0.46 %, four of these.
    EXPECT_NEAR(density / (2 * 1e-4 / rate), 1.0, 0.018);
}

TEST(AveragedSpectra, CoherenceIsOneForALinearPathAndLowForStrangers) {
    std::mt19937_64 random(6);
    std::normal_distribution<double> normal(0, 1);
    std::vector<double> a(40000), b(40000), c(40000);
    for (std::size_t i = 0; i < a.size(); ++i) a[i] = normal(random), c[i] = normal(random);
    for (std::size_t i = 0; i < a.size(); ++i) b[i] = -0.25 * a[i];
    const auto same = averaged_spectra(a, b, 1.0, 400), strangers = averaged_spectra(a, c, 1.0, 400);
    double mean = 0;
    for (std::size_t k = 1; k < 200; ++k) {
        EXPECT_NEAR(same.coherence(k), 1.0, 1e-12);
        EXPECT_NEAR(std::abs(same.h1(k) + 0.25), 0.0, 1e-12);
        mean += strangers.coherence(k) / 199;
    }
    // Expectation 1/n for n independent averages; the mean of 199 bins (two of three independent) of an exponential
    // scatters by 1/sqrt(130), four of these.
    EXPECT_NEAR(mean * independent_averages(strangers.segments), 1.0, 0.35);
}

TEST(AveragedSpectra, IndependentAveragesMatchTheScatterOfADensity) {
    // Relative variance of a white density estimated from K half-overlapped segments is 1/n.
    constexpr std::size_t segment = 64, segments = 9, runs = 400;
    std::mt19937_64 random(8);
    std::normal_distribution<double> normal(0, 1);
    double sum = 0, squares = 0;
    std::size_t count = 0;
    std::vector<double> x(segment / 2 * (segments + 1));
    for (std::size_t r = 0; r < runs; ++r) {
        for (auto& v : x) v = normal(random);
        const auto spectra = averaged_spectra(x, x, 1.0, segment);
        ASSERT_EQ(spectra.segments, segments);
        for (std::size_t k = 4; k < 30; ++k, ++count) {
            sum += spectra.first[k];
            squares += spectra.first[k] * spectra.first[k];
        }
    }
    const double mean = sum / static_cast<double>(count);
    const double relative = squares / static_cast<double>(count) / (mean * mean) - 1;
    // 10400 densities, about half of them independent: the variance is known to sqrt(2/5000) = 2 % (more for the skewed
    // distribution: 3 %), three of these. Without the correction for overlap it would be 5 % off.
    EXPECT_NEAR(relative * independent_averages(segments), 1.0, 0.09);
    EXPECT_LT(independent_averages(segments), static_cast<double>(segments));
}

TEST(AveragedSpectra, AreEmptyWhereThereIsNoSegment) {
    const std::vector<double> a(100), b(99);
    EXPECT_EQ(averaged_spectra(a, b, 1.0, 10).segments, 0U);
    EXPECT_EQ(averaged_spectra(a, a, 1.0, 101).segments, 0U);
    EXPECT_EQ(averaged_spectra(a, a, 1.0, 10, 10).segments, 0U);
    const auto silent = averaged_spectra(a, a, 1.0, 10);
    EXPECT_EQ(silent.coherence(2), 0.0);
    EXPECT_EQ(silent.h1(2), std::complex<double>());
}

}  // namespace
}  // namespace coldtune::dsp
