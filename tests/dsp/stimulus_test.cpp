#include "dsp/stimulus.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <numbers>
#include <utility>

#include "dsp/crest.hpp"
#include "dsp/fft.hpp"
#include "tests/dsp/reference_file.hpp"

namespace coldtune::dsp {
namespace {

using namespace testing;

PeriodicSweep wide() {
    PeriodicSweep sweep;
    sweep.sample_rate_hz = 192000;
    sweep.period_frames = 16384;
    sweep.periods = 3;
    sweep.band = {1000, 86000};
    sweep.level_dbfs = -6;
    return sweep;
}

double peak(const std::vector<double>& x) {
    double largest = 0;
    for (const double v : x) largest = std::max(largest, std::abs(v));
    return largest;
}

double crest(const std::vector<double>& x) {
    double power = 0;
    for (const double v : x) power += v * v;
    return peak(x) / std::sqrt(power / static_cast<double>(x.size()));
}

std::vector<std::complex<double>> spectrum(const std::vector<double>& x) {
    RealFft fft(x.size());
    std::vector<std::complex<double>> bins(fft.bins());
    fft.forward(x, bins);
    return bins;
}

// Crest factors (max |x| / rms, 64 times oversampled) of x = sum cos(2 pi n t + phi_n), n = 1 .. N, with the
// flat-spectrum phases of M. R. Schroeder, IEEE Trans. IT-16, 85 (1970) (rule from memory; numbers computed
// independently of this project, good to 0.003 as computed).
TEST(SchroederPhases, HaveTheKnownCrestFactors) {
    const std::pair<std::size_t, double> known[] = {{8, 1.786},   {15, 1.788},  {16, 1.826}, {31, 1.782},
                                                    {32, 1.735},  {50, 1.722},  {64, 1.707}, {100, 1.676},
                                                    {128, 1.703}, {256, 1.680}, {500, 1.668}};
    for (const auto& [lines, expected] : known) {
        const auto phase = schroeder_phases(std::vector<double>(lines, 0.7));
        RealFft fft(128 * lines);  // 64 times the two samples per cycle of the highest harmonic
        for (std::size_t n = 1; n <= lines; ++n) fft.spectrum()[n] = std::polar(1.0, phase[n - 1]);
        fft.inverse();
        EXPECT_NEAR(crest({fft.time().begin(), fft.time().end()}), expected, 0.003) << lines;
    }
}

// The general rule, summed as it is written, for amplitudes that are not flat.
TEST(SchroederPhases, FollowTheRuleForAnyPowers) {
    const std::vector<double> amplitude{1, 0.5, 2, 0.1, 1.5, 0.7};
    double power = 0;
    for (const double a : amplitude) power += a * a;
    const auto phase = schroeder_phases(amplitude);
    for (std::size_t n = 1; n <= amplitude.size(); ++n) {
        double sum = 0;
        for (std::size_t l = 1; l < n; ++l)
            sum += static_cast<double>(n - l) * amplitude[l - 1] * amplitude[l - 1] / power;
        EXPECT_NEAR(std::remainder(phase[n - 1] + 2 * std::numbers::pi * sum, 2 * std::numbers::pi), 0.0, 1e-12);
    }
}

// Between the samples as well: an interface's output filter draws the wave there too.
double true_crest(const std::vector<double>& period) {
    const auto bins = spectrum(period);
    RealFft fft(8 * period.size());
    std::copy(bins.begin(), bins.end() - 1, fft.spectrum().begin());
    fft.inverse();
    return crest({fft.time().begin(), fft.time().end()});
}

TEST(PeriodicSweep, CrestFactorStaysUnder1Point7OverADecade) {
    for (const std::size_t n : {131072U, 16384U, 96000U}) {
        for (const Band band : {Band{2000, 20000}, Band{8000, 80000}, Band{300, 3000}}) {
            auto sweep = wide();
            sweep.period_frames = n;
            sweep.band = band;
            const auto period = sweep_period(sweep);
            ASSERT_TRUE(period.ok());
            EXPECT_LT(crest(*period), 1.7) << n << ' ' << band.low_hz;
            EXPECT_LT(true_crest(*period), 1.7) << n << ' ' << band.low_hz;
        }
    }
}

TEST(PeriodicSweep, ConcentrationKeepsTheCrestFactor) {
    auto sweep = wide();
    sweep.band = {2000, 80000};
    for (const double width : {200.0, 1000.0, 5000.0}) {
        sweep.focus = PeriodicSweep::Focus{30000, width, 20};
        const auto period = sweep_period(sweep);
        ASSERT_TRUE(period.ok());
        EXPECT_LT(true_crest(*period), 1.7) << width;
    }
}

TEST(PeriodicSweep, SoundsAtTheBinsOfItsBandAndNowhereElse) {
    auto sweep = wide();
    const double bin = sweep.sample_rate_hz / static_cast<double>(sweep.period_frames);
    sweep.band = {100 * bin, 7000 * bin};  // edges typed as bins' own frequencies belong to the band
    const auto period = sweep_period(sweep);
    ASSERT_TRUE(period.ok());
    const auto bins = spectrum(*period);
    const double line = std::abs(bins[1000]);
    for (std::size_t k = 0; k < bins.size(); ++k) {
        // Rounding of samples of double precision: 1e-16 sqrt(n) against a line of n/2 amplitudes.
        if (k >= 100 && k <= 7000)
            EXPECT_NEAR(std::abs(bins[k]) / line, 1.0, 1e-9) << k;
        else
            EXPECT_LT(std::abs(bins[k]) / line, 1e-11) << k;
    }
}

TEST(PeriodicSweep, PeakIsTheLevelExactly) {
    auto sweep = wide();
    for (const double level : {0.0, -6.0, -0.1, -37.5}) {
        sweep.level_dbfs = level;
        EXPECT_EQ(peak(*sweep_period(sweep)), std::pow(10.0, level / 20.0));
        sweep.fade_frames = 1000;
        EXPECT_LE(peak(*render(sweep)), std::pow(10.0, level / 20.0));
        EXPECT_LE(peak(*render(sweep)), 1.0);
    }
}

TEST(PeriodicSweep, ConcentrationFollowsASingleResonanceDownToItsFloor) {
    auto sweep = wide();
    sweep.focus = PeriodicSweep::Focus{30000, 1000, 20};
    const auto bins = spectrum(*sweep_period(sweep));
    const double bin = sweep.sample_rate_hz / static_cast<double>(sweep.period_frames);
    const auto at = [&](double f) { return std::abs(bins[static_cast<std::size_t>(std::lround(f / bin))]); };
    // One half width away a single resonance is down by 3.01 dB; bins are 12 Hz apart, so within 1 %.
    EXPECT_NEAR(at(31000) / at(30000), std::numbers::sqrt2 / 2, 0.01);
    EXPECT_NEAR(at(29000) / at(30000), std::numbers::sqrt2 / 2, 0.01);
    EXPECT_NEAR(at(80000) / at(30000), 0.1, 1e-3);
    EXPECT_NEAR(at(2000) / at(30000), 0.1, 1e-3);
}

TEST(PeriodicSweep, RenderLeavesTheMiddlePeriodsAlone) {
    auto sweep = wide();
    sweep.lead_in_frames = 777;
    sweep.lead_out_frames = 333;
    sweep.fade_frames = 500;
    const auto period = *sweep_period(sweep);
    const auto signal = *render(sweep);
    const std::size_t n = sweep.period_frames;
    ASSERT_EQ(signal.size(), 777 + 3 * n + 500 + 333);
    for (std::size_t i = 0; i < 777; ++i) ASSERT_EQ(signal[i], 0.0);
    for (std::size_t i = 500; i < 3 * n; ++i) ASSERT_EQ(signal[777 + i], period[i % n]) << i;
    for (std::size_t i = 0; i < 500; ++i) {
        EXPECT_LE(std::abs(signal[777 + i]), std::abs(period[i]));
        EXPECT_LE(std::abs(signal[777 + 3 * n + i]), std::abs(period[i]));
    }
    // The two ramps of a raised cosine add to one, so the fade-out goes on where the fade-in would have been.
    for (std::size_t i = 0; i < 500; ++i) EXPECT_NEAR(signal[777 + i] + signal[777 + 3 * n + i], period[i], 1e-15);
    for (std::size_t i = 777 + 3 * n + 500; i < signal.size(); ++i) ASSERT_EQ(signal[i], 0.0);
}

TEST(PeriodicSweep, RefusesWhatItCannotPlayWithOneSentence) {
    const auto refused = [](auto change) {
        auto sweep = wide();
        change(sweep);
        const auto result = render(sweep);
        EXPECT_FALSE(result.ok());
        if (result.ok()) return std::string("accepted");
        EXPECT_EQ(result.error().kind, ErrorKind::usage);
        EXPECT_EQ(result.error().message.find('\n'), std::string::npos);
        EXPECT_EQ(result.error().message.back(), '.');
        return result.error().message;
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    EXPECT_NE(refused([](auto& s) { s.sample_rate_hz = 0; }).find("sample rate"), std::string::npos);
    EXPECT_NE(refused([&](auto& s) { s.sample_rate_hz = nan; }).find("sample rate"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.level_dbfs = 0.5; }).find("level"), std::string::npos);
    EXPECT_NE(refused([&](auto& s) { s.level_dbfs = nan; }).find("level"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.period_frames = 63; }).find("period"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.period_frames = (std::size_t{1} << 24) + 1; }).find("period"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.periods = 0; }).find("period"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.periods = std::size_t{1} << 40; }).find("shorten"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.band = {0, 1000}; }).find("band"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.band = {2000, 1000}; }).find("band"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.band = {2000, 96000}; }).find("96000"), std::string::npos);
    EXPECT_NE(refused([&](auto& s) { s.band = {nan, 96000}; }).find("band"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.band = {2001, 2010}; }).find("two bins"), std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.fade_frames = s.period_frames + 1; }).find("fade"), std::string::npos);
    EXPECT_NE(refused([](auto& s) {
                  s.focus = PeriodicSweep::Focus{0, 10, 20};
              }).find("concentrated"),
              std::string::npos);
    EXPECT_NE(refused([](auto& s) {
                  s.focus = PeriodicSweep::Focus{20000, 0, 20};
              }).find("half width"),
              std::string::npos);
    EXPECT_NE(refused([](auto& s) { s.focus = PeriodicSweep::Focus{20000, 10, -1}; }).find("floor"), std::string::npos);
}

TEST(ChoosePeriod, GivesTheNextEvenProductOfSmallPrimes) {
    const auto smooth = [](std::size_t n) {
        for (const std::size_t p : {2U, 3U, 5U, 7U})
            while (n % p == 0) n /= p;
        return n == 1;
    };
    for (const std::size_t n : {0U, 1U, 64U, 65U, 97U, 131071U, 131072U, 131073U, 191999U, 200000U}) {
        const std::size_t chosen = choose_period(n);
        EXPECT_GE(chosen, n);
        EXPECT_EQ(chosen % 2, 0U);
        EXPECT_TRUE(smooth(chosen)) << chosen;
        for (std::size_t between = std::max<std::size_t>(n, 1); between < chosen; ++between)
            EXPECT_FALSE(between % 2 == 0 && smooth(between)) << between;
    }
}

// Formula of A. Farina, AES 108th Convention, preprint 5093 (2000), from memory, against scipy.signal.chirp.
TEST(LogarithmicSweep, AgreesWithScipy) {
    const auto file = reference_file("scipy_sweep.json");
    LogarithmicSweep sweep;
    sweep.sample_rate_hz = file.at("sample_rate");
    sweep.duration_s = file.at("duration");
    sweep.band = {file.at("low"), file.at("high")};
    sweep.level_dbfs = 0;
    const auto signal = *render(sweep);
    const auto expected = reals(file.at("value"));
    const std::size_t step = file.at("step");
    ASSERT_GT(expected.size(), 1000U);
    // The phase reaches 4e4 radian, of which a double keeps 1e-11.
    for (std::size_t i = 0; i < expected.size(); ++i) EXPECT_NEAR(signal[i * step], expected[i], 1e-9) << i;
}

TEST(LogarithmicSweep, KeepsItsLengthLevelAndFades) {
    LogarithmicSweep sweep;
    sweep.sample_rate_hz = 48000;
    sweep.duration_s = 0.5;
    sweep.band = {20, 20000};
    sweep.level_dbfs = -3;
    sweep.fade_frames = 200;
    sweep.lead_in_frames = 100;
    sweep.lead_out_frames = 300;
    const auto signal = *render(sweep);
    ASSERT_EQ(signal.size(), 100U + 24000U + 300U);
    EXPECT_LE(peak(signal), std::pow(10.0, -3.0 / 20));
    EXPECT_GT(peak(signal), 0.99 * std::pow(10.0, -3.0 / 20));
    EXPECT_LT(std::abs(signal[100]), 1e-4);
    EXPECT_LT(std::abs(signal[100 + 23999]), 1e-4);
    EXPECT_EQ(signal[99], 0.0);
    EXPECT_EQ(signal[100 + 24000], 0.0);
}

TEST(LogarithmicSweep, RefusesWhatItCannotPlay) {
    LogarithmicSweep good;
    good.sample_rate_hz = 48000;
    good.duration_s = 0.5;
    good.band = {20, 20000};
    ASSERT_TRUE(render(good).ok());
    auto bad = good;
    bad.duration_s = 0;
    EXPECT_FALSE(render(bad).ok());
    bad.duration_s = 1e-4;
    EXPECT_FALSE(render(bad).ok());
    bad.duration_s = 1e9;
    EXPECT_FALSE(render(bad).ok());
    bad = good;
    bad.fade_frames = 12001;
    EXPECT_FALSE(render(bad).ok());
    bad = good;
    bad.band.high_hz = 24000;
    EXPECT_FALSE(render(bad).ok());
}

TEST(ToneBurst, RunsFromZeroCrossingToZeroCrossing) {
    ToneBurst burst;
    burst.sample_rate_hz = 192000;
    burst.frequency_hz = 7000;
    burst.cycles = 30;
    burst.level_dbfs = -12;
    burst.lead_in_frames = 50;
    burst.lead_out_frames = 1000;
    const auto signal = *render(burst);
    const double duration = 30.0 / 7000 * 192000;  // 822.86 frames
    ASSERT_EQ(signal.size(), 50 + 823U + 1000U);
    const double level = std::pow(10.0, -12.0 / 20);
    for (std::size_t i = 0; i < signal.size(); ++i) {
        const double t = static_cast<double>(i) - 50;
        const double expected = t >= 0 && t < duration ? level * std::sin(2 * std::numbers::pi * 7000 * t / 192000) : 0;
        // 30 turns of phase keep 14 digits.
        EXPECT_NEAR(signal[i], expected, 1e-13) << i;
        EXPECT_LE(std::abs(signal[i]), level);
    }
}

TEST(ToneBurst, RefusesWhatItCannotPlay) {
    ToneBurst good;
    good.sample_rate_hz = 48000;
    good.frequency_hz = 1000;
    good.cycles = 3;
    ASSERT_TRUE(render(good).ok());
    auto bad = good;
    bad.cycles = 0;
    EXPECT_FALSE(render(bad).ok());
    bad = good;
    bad.frequency_hz = 24000;
    EXPECT_FALSE(render(bad).ok());
    bad.frequency_hz = -1;
    EXPECT_FALSE(render(bad).ok());
    bad = good;
    bad.level_dbfs = 1;
    EXPECT_FALSE(render(bad).ok());
}

}  // namespace
}  // namespace coldtune::dsp
