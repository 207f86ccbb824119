#include "dsp/response.hpp"

#include <gtest/gtest.h>

#include <limits>

#include "tests/dsp/reference_file.hpp"
#include "tests/dsp/signal_support.hpp"

namespace coldtune::dsp {
namespace {

using namespace testing;

// scipy.signal.iirpeak and freqz: another tool's filter, run here by its difference equation.
std::vector<double> filtered(const std::vector<double>& x, const std::vector<double>& b, const std::vector<double>& a) {
    std::vector<double> y(x.size(), 0.0);
    for (std::size_t i = 0; i < x.size(); ++i) {
        for (std::size_t k = 0; k < b.size() && k <= i; ++k) y[i] += b[k] * x[i - k];
        for (std::size_t k = 1; k < a.size() && k <= i; ++k) y[i] -= a[k] * y[i - k];
        y[i] /= a[0];
    }
    return y;
}

// The stored response at a frequency between its points, by the polynomial through five of them. The points lie 10 Hz
// apart around a peak of 250 Hz half width, whose fifth derivative is at most 120/250^5: an error of
// 3.63 (10/250)^5 = 3.7e-7 at most.
Complex between(const std::vector<double>& f, const std::vector<Complex>& h, double at) {
    auto i = static_cast<std::size_t>(std::upper_bound(f.begin(), f.end(), at) - f.begin());
    i = std::clamp<std::size_t>(i, 2, f.size() - 3);
    Complex sum;
    for (std::size_t p = i - 2; p <= i + 2; ++p) {
        double weight = 1;
        for (std::size_t q = i - 2; q <= i + 2; ++q)
            if (q != p) weight *= (at - f[q]) / (f[p] - f[q]);
        sum += weight * h[p];
    }
    return sum;
}

TEST(AllWays, AgreeWithScipysFilter) {
    const auto file = reference_file("scipy_resonator.json");
    const auto b = reals(file.at("b")), a = reals(file.at("a")), f = reals(file.at("frequency"));
    const auto h = complexes(file.at("response"));
    const auto worst_of = [&](const Response& response) {
        double worst = 0;
        for (std::size_t i = 0; i < response.ratio.size(); ++i)
            if (response.frequency_hz[i] > 19600 && response.frequency_hz[i] < 20400)
                worst = std::max(worst, std::abs(response.ratio[i] - between(f, h, response.frequency_hz[i])));
        return worst;
    };
    // What is left of the settling after two periods is exp(-pi 500 Hz 85 ms): nothing. The interpolation is what
    // counts.
    const double interpolated = 4e-7;
    const Bench bench(8192);
    const auto periodic = bench.capture(6 * bench.n);
    const auto whole =
        periodic_response({rate, periodic.generator, filtered(periodic.generator, b, a)}, options_of(bench.n, 2));
    ASSERT_TRUE(whole.ok()) << whole.error().message;
    EXPECT_LT(worst_of(*whole), interpolated);

    LogarithmicSweep sweep;
    sweep.sample_rate_hz = rate;
    sweep.duration_s = 0.3;
    sweep.band = {1000, 86000};
    sweep.fade_frames = 500;
    sweep.lead_in_frames = 5000;
    sweep.lead_out_frames = 30000;
    const auto shot = *render(sweep);
    const auto record = broadband_response({rate, shot, filtered(shot, b, a)}, {});
    ASSERT_TRUE(record.ok()) << record.error().message;
    EXPECT_EQ(record->way, ResponseWay::whole_record);
    EXPECT_LT(worst_of(*record), interpolated);

    std::vector<double> noise(400000, 0.0);
    std::mt19937_64 random(41);
    add_noise(noise, 0.1, random);
    BroadbandOptions options;
    options.segment_frames = 16384;
    const auto crossed = broadband_response({rate, noise, filtered(noise, b, a)}, options);
    ASSERT_TRUE(crossed.ok()) << crossed.error().message;
    EXPECT_EQ(crossed->way, ResponseWay::cross_spectra);
    // Hann bins of 12 Hz (18 Hz wide) against a half width of 250 Hz: (18/250)^2/2 = 0.3 % of smoothing, and leakage
    // that averages out over 47 segments.
    EXPECT_LT(worst_of(*crossed), 0.02);
}

TEST(WholeRecord, ScatterIsWhatTheVarianceSays) {
    LogarithmicSweep sweep;
    sweep.sample_rate_hz = rate;
    sweep.duration_s = 0.1;
    sweep.band = {1000, 86000};
    sweep.fade_frames = 500;
    sweep.lead_in_frames = 8000;
    sweep.lead_out_frames = 12000;
    const Foot foot{20e3, 40, 3e3, 30e-12, 10e3};
    const auto shot = *render(sweep);
    const auto answer = steady(shot, rate, foot);  // rings down long before the record ends
    std::mt19937_64 random(42);
    Score score;
    for (int run = 0; run < 30; ++run) {
        TwoChannelCapture capture{rate, shot, answer};
        add_noise(capture.generator, 1e-4, random);
        add_noise(capture.coil, 1e-4, random);
        const auto response = broadband_response(capture, {});
        ASSERT_TRUE(response.ok()) << response.error().message;
        ASSERT_EQ(response->way, ResponseWay::whole_record);
        for (std::size_t i = 0; i < response->ratio.size(); ++i)
            score.add(response->ratio[i] - foot(response->frequency_hz[i]), response->variance[i]);
    }
    // A density from some 18 segments has about 30 degrees of freedom, which adds 2/30 to the mean; raised where the
    // ratio is rough, which takes some of it off again.
    EXPECT_NEAR(score.ratio(), 1.03, 0.08);
    EXPECT_LT(score.worst_mean_sigma(), 4.0);
}

TEST(WholeRecord, LongRecordsAreMergedButStayFine) {
    LogarithmicSweep sweep;
    sweep.sample_rate_hz = rate;
    sweep.duration_s = 4;
    sweep.band = {1000, 86000};
    sweep.fade_frames = 500;
    sweep.lead_in_frames = 20000;
    sweep.lead_out_frames = 50000;
    const Foot foot{5e3, 200, 3e3, 30e-12, 10e3};
    const auto shot = *render(sweep);
    TwoChannelCapture capture{rate, shot, steady(shot, rate, foot)};
    std::mt19937_64 random(43);
    add_noise(capture.generator, 1e-5, random);
    add_noise(capture.coil, 1e-5, random);
    const auto response = broadband_response(capture, {});
    ASSERT_TRUE(response.ok());
    EXPECT_LT(response->ratio.size(), 120000U);
    Score score;
    for (std::size_t i = 0; i < response->ratio.size(); ++i) {
        // Merged over a twenty-thousandth of the frequency, never coarser than the record's own bins.
        if (i > 0) {
            EXPECT_LE(response->frequency_hz[i] - response->frequency_hz[i - 1],
                      0.5 + response->frequency_hz[i] / 20000);
        }
        score.add(response->ratio[i] - foot(response->frequency_hz[i]), response->variance[i]);
    }
    EXPECT_NEAR(score.ratio(), 1.03, 0.08);
}

TEST(CrossSpectra, ScatterIsWhatTheVarianceSays) {
    // A smooth path, so that windows and leakage play no part; noise in the coil channel at 20 dB under the signal.
    std::mt19937_64 random(44);
    Score score;
    for (int run = 0; run < 40; ++run) {
        std::vector<double> noise(9000, 0.0);
        add_noise(noise, 0.1, random);
        TwoChannelCapture capture{rate, noise, noise};
        for (double& v : capture.coil) v *= 0.5;
        add_noise(capture.coil, 5e-3, random);
        BroadbandOptions options;
        options.segment_frames = 1000;
        const auto response = broadband_response(capture, options);
        ASSERT_TRUE(response.ok()) << response.error().message;
        ASSERT_EQ(response->averages, 17U);
        ASSERT_EQ(response->coherence.size(), response->ratio.size());
        for (std::size_t i = 0; i < response->ratio.size(); ++i) {
            score.add(response->ratio[i] - 0.5, response->variance[i]);
            EXPECT_GT(response->coherence[i], 0.5);
        }
    }
    // 20000 bins, neighbours correlated by the window (4/9 and 1/36 in power: 1.9 bins for one): 1 %; the pooled
    // variance has 25 bins of 30 degrees. Four standard deviations.
    EXPECT_NEAR(score.ratio(), 1.0, 0.04);
}

TEST(CrossSpectra, ChoosesItsSegmentsFromTheLength) {
    std::mt19937_64 random(45);
    std::vector<double> noise(50000, 0.0);
    add_noise(noise, 0.1, random);
    const auto response = broadband_response({rate, noise, noise}, {});
    ASSERT_TRUE(response.ok());
    EXPECT_EQ(response->way, ResponseWay::cross_spectra);
    EXPECT_GE(response->averages, 8U);
    EXPECT_LE(response->averages, 9U);
    EXPECT_FALSE(broadband_response({rate, std::vector<double>(100, 0.1), std::vector<double>(100)}, {}).ok());
    noise.resize(200);
    EXPECT_FALSE(broadband_response({rate, noise, noise}, {}).ok());
    noise[7] = std::numeric_limits<double>::quiet_NaN();
    EXPECT_FALSE(broadband_response({rate, noise, noise}, {}).ok());
}

TEST(UsableBand, IsTheStretchWithSmallErrorsAroundTheStrongestPart) {
    Response response;
    for (std::size_t i = 0; i < 1000; ++i) {
        response.frequency_hz.push_back(100.0 + static_cast<double>(i));
        response.ratio.emplace_back(0.8, 0.1);
        response.generator_amplitude.push_back(i < 800 ? 1e-3 : 1e-4);
        // Under 0.1 of the ratio from bin 50 to 699 and, weakly driven, from 820 to 999.
        response.variance.push_back((i >= 50 && i < 700) || i >= 820 ? 1e-4 : 1e-1);
    }
    response.variance[300] = response.variance[301] = 1.0;  // a spoiled pair, bridged
    const auto band = usable_band(response);
    ASSERT_TRUE(band.has_value());
    EXPECT_EQ(band->low_hz, 150.0);
    EXPECT_EQ(band->high_hz, 799.0);
    EXPECT_FALSE(usable_band(response, 1e-3).has_value());
    EXPECT_FALSE(usable_band(Response{}).has_value());
    for (std::size_t i = 300; i < 340; ++i) response.variance[i] = 1.0;  // a hole is the end of a band
    EXPECT_EQ(usable_band(response)->low_hz, 440.0);
}

}  // namespace
}  // namespace coldtune::dsp
