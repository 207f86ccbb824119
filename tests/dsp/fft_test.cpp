#include "dsp/fft.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <random>
#include <stdexcept>
#include <thread>

#include "tests/dsp/reference_file.hpp"

namespace coldtune::dsp {
namespace {

using Complex = std::complex<double>;
using namespace testing;

// The definition itself, in long double, with the angle reduced by integers first.
std::vector<Complex> naive(const std::vector<Complex>& x, int sign) {
    const std::size_t n = x.size();
    std::vector<std::complex<long double>> turn(n);
    for (std::size_t i = 0; i < n; ++i) {
        const long double angle =
            sign * 2.0L * std::numbers::pi_v<long double> * static_cast<long double>(i) / static_cast<long double>(n);
        turn[i] = {std::cos(angle), std::sin(angle)};
    }
    std::vector<Complex> out(n);
    for (std::size_t k = 0; k < n; ++k) {
        long double re = 0, im = 0;
        for (std::size_t i = 0; i < n; ++i) {
            const auto w = turn[i * k % n];
            re += x[i].real() * w.real() - x[i].imag() * w.imag();
            im += x[i].real() * w.imag() + x[i].imag() * w.real();
        }
        out[k] = {static_cast<double>(re), static_cast<double>(im)};
    }
    return out;
}

std::vector<Complex> random_numbers(std::size_t n, unsigned seed) {
    std::mt19937 random(seed);
    std::uniform_real_distribution<double> uniform(-1, 1);
    std::vector<Complex> x(n);
    for (auto& v : x) v = {uniform(random), uniform(random)};
    return x;
}

double norm2(const std::vector<Complex>& x) {
    double sum = 0;
    for (const auto& v : x) sum += std::norm(v);
    return std::sqrt(sum);
}

// Rounding of a transform grows like eps log2(n) of the 2-norm (Gentleman & Sande 1966); 2e-16 * 12 at n = 2039, and a
// factor of 20 for prime lengths, which go through a longer convolution.
constexpr double of_norm = 5e-14;

class Lengths : public ::testing::TestWithParam<std::size_t> {};

TEST_P(Lengths, ComplexAgreesWithTheSum) {
    const std::size_t n = GetParam();
    const auto x = random_numbers(n, 1);
    const auto forward = naive(x, -1), inverse = naive(x, +1);
    ComplexFft fft(n);
    std::vector<Complex> out(n);
    fft.forward(x, out);
    for (std::size_t k = 0; k < n; ++k) EXPECT_LE(std::abs(out[k] - forward[k]), of_norm * norm2(x)) << k;
    fft.inverse(x, out);
    for (std::size_t k = 0; k < n; ++k)
        EXPECT_LE(std::abs(out[k] * static_cast<double>(n) - inverse[k]), of_norm * norm2(x)) << k;
    // In place.
    auto same = x;
    fft.forward(same, same);
    fft.inverse(same, same);
    for (std::size_t k = 0; k < n; ++k) EXPECT_LE(std::abs(same[k] - x[k]), of_norm * norm2(x)) << k;
}

TEST_P(Lengths, RealAgreesWithTheSum) {
    const std::size_t n = GetParam();
    auto x = random_numbers(n, 2);
    std::vector<double> samples(n), back(n);
    for (std::size_t i = 0; i < n; ++i) {
        samples[i] = x[i].real();
        x[i] = samples[i];
    }
    const auto expected = naive(x, -1);
    RealFft fft(n);
    ASSERT_EQ(fft.bins(), n / 2 + 1);
    std::vector<Complex> bins(fft.bins());
    fft.forward(samples, bins);
    for (std::size_t k = 0; k < bins.size(); ++k) EXPECT_LE(std::abs(bins[k] - expected[k]), of_norm * norm2(x)) << k;
    fft.inverse(bins, back);
    for (std::size_t i = 0; i < n; ++i) EXPECT_NEAR(back[i], samples[i], of_norm * norm2(x)) << i;
}

INSTANTIATE_TEST_SUITE_P(SmallPrimeAndProduct, Lengths,
                         ::testing::Values(1, 2, 3, 4, 5, 7, 11, 12, 13, 64, 97, 100, 101, 210, 256, 509, 720, 2039));

TEST(Fft, AgreesWithNumpy) {
    const auto file = reference_file("scipy_fft.json");
    ASSERT_GE(file.at("cases").size(), 9U);
    for (const auto& one : file.at("cases")) {
        const auto input = reals(one.at("input"));
        const auto expected = complexes(one.at("output"));
        RealFft fft(input.size());
        std::vector<Complex> bins(fft.bins());
        fft.forward(input, bins);
        ASSERT_EQ(bins.size(), expected.size());
        double largest = 0;
        for (const auto& v : expected) largest = std::max(largest, std::abs(v));
        // 1e-9 relative is what the project promises; two double transforms are a million times closer.
        for (std::size_t k = 0; k < bins.size(); ++k)
            EXPECT_LE(std::abs(bins[k] - expected[k]), 1e-9 * std::max(std::abs(expected[k]), 1e-3 * largest));
    }
}

TEST(Fft, InverseUndoesForwardAtWorkingLengths) {
    for (const std::size_t n : {131072U, 192000U, 131071U}) {
        RealFft fft(n);
        std::mt19937 random(3);
        std::uniform_real_distribution<double> uniform(-1, 1);
        std::vector<double> x(n);
        for (auto& v : x) v = uniform(random);
        std::copy(x.begin(), x.end(), fft.time().begin());
        fft.forward();
        // Parseval: the energy of both sides is the same, to rounding.
        double time = 0, frequency = 0;
        for (const double v : x) time += v * v;
        for (std::size_t k = 0; k < fft.bins(); ++k) {
            const bool single = k == 0 || 2 * k == n;
            frequency += (single ? 1.0 : 2.0) * std::norm(fft.spectrum()[k]);
        }
        EXPECT_NEAR(frequency / static_cast<double>(n) / time, 1.0, 1e-12);
        fft.inverse();
        double worst = 0;
        for (std::size_t i = 0; i < n; ++i) worst = std::max(worst, std::abs(fft.time()[i] - x[i]));
        EXPECT_LT(worst, 1e-13);  // eps log2(n), 4e-15, and the longer way of the prime length
    }
}

TEST(Fft, PlansAndExecutesFromManyThreadsWithTheSameDigits) {
    const auto work = [](std::size_t n) {
        RealFft fft(n);
        for (std::size_t i = 0; i < n; ++i) fft.time()[i] = std::sin(static_cast<double>(i * i % 1009));
        fft.forward();
        return std::vector<Complex>(fft.spectrum().begin(), fft.spectrum().end());
    };
    // Lengths no other test has planned, so that planning itself runs at once.
    const std::vector<std::size_t> lengths{1500, 1511, 1536, 1575, 1579, 1600, 1601, 1620};
    std::vector<std::vector<std::vector<Complex>>> results(8);
    std::vector<std::thread> threads;
    for (std::size_t t = 0; t < results.size(); ++t)
        threads.emplace_back([&, t] {
            for (int round = 0; round < 20; ++round) {
                results[t].clear();
                for (const std::size_t n : lengths) results[t].push_back(work(n));
            }
        });
    for (auto& thread : threads) thread.join();
    for (std::size_t l = 0; l < lengths.size(); ++l) {
        const auto alone = work(lengths[l]);
        for (const auto& result : results) EXPECT_EQ(result[l], alone);
    }
}

// A program that meets ever new lengths must not keep a plan of each; an object keeps its own as long as it lives.
TEST(Fft, KeepsFewPlansHoweverManyLengthsThereWere) {
    const auto line = [](RealFft& fft) {
        for (std::size_t i = 0; i < fft.size(); ++i) fft.time()[i] = std::cos(static_cast<double>(i % 7));
        fft.forward();
        return fft.spectrum()[3];
    };
    RealFft early(997);
    const Complex before = line(early);
    for (std::size_t n = 2000; n < 2100; ++n) {
        RealFft real(n);
        ComplexFft complex(n);
        EXPECT_LE(plans_in_memory(), most_kept_plans + 3) << n;  // those of the three objects beside the kept ones
    }
    EXPECT_EQ(line(early), before);
    RealFft late(997);  // forgotten and made anew meanwhile
    EXPECT_EQ(line(late), before);
}

TEST(Fft, RefusesLengthsItCannotDo) {
    EXPECT_THROW(RealFft(0), std::length_error);
    EXPECT_THROW(ComplexFft((std::size_t{1} << 30) + 1), std::length_error);
}

}  // namespace
}  // namespace coldtune::dsp
