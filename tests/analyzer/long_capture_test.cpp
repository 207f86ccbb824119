// Captures of any length, piece by piece: the same answer as from the whole, and nothing bad in one piece gets lost.
#include "analyzer/measure/long_capture.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "tests/support/bench_rig.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::measure {
namespace {

using ::testing::HasSubstr;

constexpr std::size_t kPeriod = 16384;
constexpr std::size_t kPiece = 5 * kPeriod;  // twelve pieces of the sixty periods below

const test::SweepShape kShape{
    .rate_hz = 48000, .period = kPeriod, .periods = 60, .low_hz = 1000, .high_hz = 0, .level_dbfs = -12};

bench::Bench bench_at(double frequency_hz, double clock_error_ppm = 0) {
    bench::Bench bench;
    bench.coil = test::series_coil(frequency_hz, 60, 0.3, 8e-12);
    bench.interface.generator_noise_dbfs = bench.interface.coil_noise_dbfs = -90;
    bench.interface.clock_error_ppm = clock_error_ppm;
    bench.interface.sample_rate_hz = kShape.rate_hz;
    bench.seed = 3;
    return bench;
}

class LongCapture : public ::testing::Test {
protected:
    const testing::ScratchFolder folder;
    const bench::Bench bench = bench_at(12e3);
    audio::CaptureFile whole = test::capture(bench, bench::Hookup::foot, kShape);

    std::filesystem::path written(const audio::CaptureFile& file) const {
        const auto path = folder / "long.wav";
        const Status done = audio::write_capture(path, file.capture, audio::SampleFormat::float64, file.note);
        EXPECT_TRUE(done.ok()) << done.error().message;
        return path;
    }
    Result<MeasurementResult> piecewise(const audio::CaptureFile& file, const bench::Bench& on) const {
        auto condensed = condense(written(file), bench::Hookup::foot, std::nullopt, std::nullopt, kPiece);
        if (!condensed) return condensed.error();
        return analyze_condensed(test::request_for(on, {}), std::move(*condensed));
    }
};

TEST_F(LongCapture, AgreesWithTheWhole) {
    const auto pieces = piecewise(whole, bench);
    const auto once = analyze(test::request_for(bench, whole));
    ASSERT_TRUE(pieces.ok() && once.ok()) << (pieces ? "" : pieces.error().message);
    ASSERT_NE(pieces->resonance(), nullptr) << pieces->findings.front().text;
    const Resonance &a = *pieces->resonance(), &b = *once->resonance();
    // Both see the same noise: a tenth of the stated interval is far more than another way of averaging may move.
    EXPECT_NEAR(a.frequency_hz, b.frequency_hz, 0.1 * b.frequency_u95_hz);
    EXPECT_NEAR(*a.q, *b.q, 0.1 * *b.q_u95);
    EXPECT_NEAR(a.frequency_u95_hz / b.frequency_u95_hz, 1, 0.1);  // declared values make most of it
    EXPECT_EQ(pieces->verdict(), once->verdict());
    EXPECT_GE(pieces->averages, 55U);  // of 60: the ends of the signal fall into pieces that are not full
    const auto budget = [](const Resonance& r) {
        const auto noise =
            std::find_if(r.budget.begin(), r.budget.end(), [](const auto& line) { return line.source == "noise"; });
        return noise == r.budget.end() ? 0.0 : noise->frequency_u_hz;
    };
    // Scatter of twelve groups in place of sixty periods, pooled over neighbouring bins.
    EXPECT_GT(budget(a) / budget(b), 0.5);
    EXPECT_LT(budget(a) / budget(b), 2.0);
}

TEST_F(LongCapture, ClippingInOnePieceRejectsTheWhole) {
    const std::size_t middle = whole.capture.frames() / 2;
    for (auto* channel : {&whole.capture.generator, &whole.capture.coil}) {
        const double peak = *std::max_element(channel->begin(), channel->end());
        std::fill_n(channel->begin() + static_cast<std::ptrdiff_t>(middle), 40, 1.01 * peak);
    }
    const auto result = piecewise(whole, bench);
    ASSERT_TRUE(result.ok()) << result.error().message;
    EXPECT_EQ(result->verdict(), Verdict::rejected);
    EXPECT_EQ(result->resonance(), nullptr);
    const auto said = std::find_if(result->findings.begin(), result->findings.end(),
                                   [](const Finding& f) { return f.code == FindingCode::clipped; });
    ASSERT_NE(said, result->findings.end());
    EXPECT_EQ(said->text.rfind("from 10 s on: input 1", 0), 0U) << said->text;  // the seventh piece of 1.7 s
}

TEST_F(LongCapture, TheClocksDriftIsSaidAndStaysInTheInterval) {
    const bench::Bench drifting = bench_at(12e3, 30);
    const auto result = piecewise(test::capture(drifting, bench::Hookup::foot, kShape), drifting);
    const auto once = analyze(test::request_for(drifting, test::capture(drifting, bench::Hookup::foot, kShape)));
    ASSERT_TRUE(result.ok() && once.ok());
    ASSERT_NE(result->resonance(), nullptr) << result->findings.front().text;
    ASSERT_TRUE(result->clock_drift_ppm && once->clock_drift_ppm);
    EXPECT_NEAR(*result->clock_drift_ppm, *once->clock_drift_ppm, 0.05);
    const auto said = [](const MeasurementResult& r) {
        return std::count_if(r.findings.begin(), r.findings.end(),
                             [](const Finding& f) { return f.code == FindingCode::clock_drift; });
    };
    EXPECT_EQ(said(*result), said(*once));
    EXPECT_NEAR(result->resonance()->frequency_u95_hz / once->resonance()->frequency_u95_hz, 1, 0.1);
}

TEST_F(LongCapture, WhatCannotBeAveragedIsRefused) {
    const auto refusal = [&](const audio::CaptureFile& file, std::optional<std::size_t> period = std::nullopt) {
        const auto condensed = condense(written(file), bench::Hookup::foot, period, std::nullopt, kPiece);
        return condensed ? std::string("it was taken") : condensed.error().message;
    };
    audio::CaptureFile unknown = whole;
    unknown.note.reset();
    EXPECT_THAT(refusal(unknown), HasSubstr("state the frames of its period"));
    EXPECT_THAT(refusal(unknown, 2 * kPeriod), HasSubstr("too few for periods of 32768"));
    EXPECT_THAT(refusal(whole, kPeriod + 77), HasSubstr("s on: The signal"));
    audio::CaptureFile silent = whole;
    std::fill(silent.capture.generator.begin(), silent.capture.generator.end(), 0.0);
    EXPECT_THAT(refusal(silent), HasSubstr("fewer than two pieces"));
    audio::CaptureFile torn = whole;
    for (auto* channel : {&torn.capture.generator, &torn.capture.coil})
        std::fill_n(channel->begin() + 4 * kPiece, kPiece, 0.0);
    EXPECT_THAT(refusal(torn), HasSubstr("silent from 7 s on and then not"));
    EXPECT_THAT(condense(folder / "none.wav", bench::Hookup::foot, kPeriod, 1).error().message,
                HasSubstr("there is no such file"));
    EXPECT_FALSE(is_long_capture(written(whole)));
}

}  // namespace
}  // namespace coldtune::measure
