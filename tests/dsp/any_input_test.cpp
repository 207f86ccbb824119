// Whatever comes in: an error of one sentence or finite numbers of matching sizes, never a crash.
#include <gtest/gtest.h>

#include <limits>
#include <random>

#include "dsp/capture_health.hpp"
#include "dsp/response.hpp"
#include "tests/dsp/signal_support.hpp"

namespace coldtune::dsp {
namespace {

using namespace testing;

void expect_sound(const Result<Response>& made) {
    if (!made.ok()) {
        EXPECT_EQ(made.error().message.find('\n'), std::string::npos);
        EXPECT_EQ(made.error().message.back(), '.');
        return;
    }
    const Response& r = *made;
    const std::size_t bins = r.frequency_hz.size();
    ASSERT_GT(bins, 0U);
    ASSERT_EQ(r.ratio.size(), bins);
    for (const auto* part : {&r.variance, &r.generator_amplitude, &r.coil_amplitude, &r.generator_noise, &r.coil_noise})
        ASSERT_EQ(part->size(), bins);
    EXPECT_EQ(r.coherence.size(), r.way == ResponseWay::cross_spectra ? bins : 0U);
    EXPECT_GE(r.averages, 1U);
    for (std::size_t i = 0; i < bins; ++i) {
        EXPECT_TRUE(std::isfinite(std::abs(r.ratio[i])));
        EXPECT_TRUE(std::isfinite(r.variance[i]) && r.variance[i] > 0);
        EXPECT_TRUE(std::isfinite(r.generator_amplitude[i]) && r.generator_amplitude[i] > 0);
        EXPECT_TRUE(std::isfinite(r.coil_amplitude[i]) && std::isfinite(r.generator_noise[i]) &&
                    std::isfinite(r.coil_noise[i]));
        EXPECT_TRUE(r.frequency_hz[i] > 0 && r.frequency_hz[i] < r.sample_rate_hz / 2);
        if (i > 0) {
            EXPECT_GT(r.frequency_hz[i], r.frequency_hz[i - 1]);
        }
    }
    if (r.clock_drift_ppm) {
        EXPECT_TRUE(std::isfinite(*r.clock_drift_ppm));
    }
    if (const auto band = usable_band(r)) {
        EXPECT_LE(band->low_hz, band->high_hz);
    }
}

std::vector<double> content(int kind, std::size_t frames, std::size_t n, std::mt19937_64& random) {
    std::vector<double> x(frames, 0.0);
    std::uniform_real_distribution<double> uniform(-1, 1);
    switch (kind) {
        case 0:
            break;
        case 1:
            std::fill(x.begin(), x.end(), uniform(random));
            break;
        case 2:
            for (double& v : x) v = uniform(random);
            break;
        case 3:
            for (std::size_t i = 0; i < frames; ++i) x[i] = std::sin(0.3 * static_cast<double>(i));
            break;
        case 4:
            if (frames > 0) x[frames / 2] = 1;
            break;
        case 5:
            for (std::size_t i = 0; i < frames; ++i) x[i] = i % 2 == 0 ? 1 : -1;
            break;
        case 6:
            for (double& v : x) v = 1e-300 * uniform(random);
            break;
        case 7:
            for (double& v : x) v = 1e150 * uniform(random);
            break;
        default: {
            PeriodicSweep sweep;
            sweep.sample_rate_hz = 48000;
            sweep.period_frames = std::max<std::size_t>(64, n);
            sweep.periods = 1;
            sweep.band = {900, 20000};
            const auto period = *sweep_period(sweep);
            const std::size_t from = frames / 5 * (random() % 2), to = frames - frames / 7 * (random() % 2);
            for (std::size_t i = from; i < to; ++i) x[i] = period[i % period.size()];
            if (kind > 8) add_noise(x, 1e-4, random);
        }
    }
    return x;
}

TEST(AnyInput, GivesASentenceOrSoundNumbers) {
    std::mt19937_64 random(77);
    for (int run = 0; run < 1500; ++run) {
        const std::size_t n = 10 + random() % 400;
        const std::size_t frames = random() % 9 == 0 ? random() % 20 : random() % 6000;
        TwoChannelCapture capture{48000, content(static_cast<int>(random() % 10), frames, n, random),
                                  content(static_cast<int>(random() % 10), frames, n, random)};
        if (run % 40 == 0 && frames > 0) capture.coil[random() % frames] = std::numeric_limits<double>::quiet_NaN();
        if (run % 41 == 0) capture.coil.resize(frames / 2);
        PeriodicOptions options;
        options.period_frames = n;
        options.settle_periods = random() % 3;
        if (random() % 5 == 0) options.first_frame = random() % 7000;
        if (random() % 5 == 0) options.band = Band{1000.0 * static_cast<double>(random() % 10), 9000};
        const auto periodic = periodic_response(capture, options);
        expect_sound(periodic);
        BroadbandOptions broad;
        if (random() % 2 == 0) broad.segment_frames = random() % 1000;
        expect_sound(broadband_response(capture, broad));
        (void)repeats_with_period(capture, n);
        const auto health = examine(capture, random() % 3 == 0 ? 0 : n, periodic.ok() ? &*periodic : nullptr);
        for (const auto* channel : {&health.generator, &health.coil}) {
            EXPECT_TRUE(std::isfinite(channel->peak_dbfs) && std::isfinite(channel->rms_dbfs));
            EXPECT_TRUE(std::isfinite(channel->noise_dbfs) && std::isfinite(channel->dc_offset));
            EXPECT_LE(channel->clipped_frames, frames);
        }
        const std::pair<const char*, std::optional<double>> facts[] = {
            {"drift", health.clock_drift_ppm},
            {"generator distortion", health.generator_distortion_db},
            {"coil distortion", health.coil_distortion_db},
            {"unsteadiness", health.unsteadiness_sigma}};
        for (const auto& [name, value] : facts) {
            if (value) {
                EXPECT_TRUE(std::isfinite(*value)) << name << " in run " << run;
            }
        }
    }
}

}  // namespace
}  // namespace coldtune::dsp
