// The audio callback's work, without an audio library.
#include "analyzer/audio/stream_copier.hpp"

#include <gtest/gtest.h>

#include <atomic>
#include <cmath>
#include <numbers>
#include <vector>

namespace coldtune::audio {
namespace {

constexpr std::size_t inputs = 3;
constexpr std::size_t outputs = 2;

class StreamCopierTest : public ::testing::Test {
protected:
    // `frames` of stimulus at `level`, coil on input 1, generator on input 3, output 2.
    void prepare(std::size_t frames, std::size_t tail, std::size_t ramp, std::size_t warm_up, float level = 1) {
        auto made = SharedStream::create(frames, frames + tail);
        ASSERT_TRUE(made.ok());
        stream = std::make_unique<SharedStream>(std::move(*made));
        StreamBlock& block = stream->block();
        block.ramp_frames = ramp;
        block.output_channel = 1;
        block.generator_input = 2;
        block.coil_input = 0;
        for (std::size_t i = 0; i < frames; ++i) stream->stimulus()[i] = level;
        copier = std::make_unique<StreamCopier>(*stream, inputs, outputs, warm_up, interrupted);
    }
    // Plays one buffer; input channel c of frame number n holds c + n / 1e5.
    std::vector<float> buffer(std::size_t frames, const StreamFlags& flags = {}) {
        std::vector<float> in(frames * inputs);
        for (std::size_t i = 0; i < frames; ++i, ++time) {
            for (std::size_t c = 0; c < inputs; ++c) in[i * inputs + c] = value(c, time);
        }
        std::vector<float> out(frames * outputs, 9);
        copier->process(in.data(), out.data(), frames, flags);
        std::vector<float> channel;
        for (std::size_t i = 0; i < frames; ++i) {
            EXPECT_EQ(out[i * outputs], 0.0F) << "a channel nobody asked for";
            channel.push_back(out[i * outputs + 1]);
        }
        return channel;
    }
    static float value(std::size_t channel, std::size_t frame) {
        return static_cast<float>(channel) + static_cast<float>(frame) / 1e5F;
    }

    std::atomic<bool> interrupted = false;
    std::unique_ptr<SharedStream> stream;
    std::unique_ptr<StreamCopier> copier;
    std::size_t time = 0;
};

TEST_F(StreamCopierTest, WarmsUpThenRecordsTheChosenChannelsAndPlaysTheTailSilent) {
    prepare(100, 50, 1, 30);
    std::vector<float> played;
    for (int i = 0; i < 30; ++i) {
        const auto part = buffer(7);  // divides nothing, so every border falls inside a buffer
        played.insert(played.end(), part.begin(), part.end());
    }
    EXPECT_EQ(stream->block().frames, 150U);
    for (std::size_t i = 0; i < 150; ++i) {
        EXPECT_EQ(stream->generator()[i], value(2, i + 30));
        EXPECT_EQ(stream->coil()[i], value(0, i + 30));
    }
    for (std::size_t i = 0; i < played.size(); ++i) {
        EXPECT_EQ(played[i], i > 30 && i < 130 ? 1.0F : 0.0F) << i;  // frame 30 is the foot of the one-frame ramp
    }
}

TEST_F(StreamCopierTest, RampsUpAndDownWithoutAStep) {
    constexpr std::size_t ramp = 200;
    prepare(10000, 0, ramp, 0);
    auto played = buffer(500);
    for (std::size_t i = 0; i < 500; ++i) {
        const double x = static_cast<double>(std::min(i, ramp)) / ramp;
        // A raised cosine to the precision of float.
        EXPECT_NEAR(static_cast<double>(played[i]), 0.5 - 0.5 * std::cos(std::numbers::pi * x), 1e-6);
    }
    stream->block().stop = 1;
    const auto falling = buffer(500);
    played.insert(played.end(), falling.begin(), falling.end());
    // The steepest part of the cosine: pi / 2 over the ramp's length, and rounding.
    for (std::size_t i = 1; i < played.size(); ++i) {
        EXPECT_LE(std::abs(played[i] - played[i - 1]), static_cast<float>(std::numbers::pi / 2 / ramp) * 1.001F);
    }
    EXPECT_EQ(falling.back(), 0.0F);
    EXPECT_EQ(stream->block().silent_callbacks, 0U);
    for (const float x : buffer(500)) EXPECT_EQ(x, 0.0F);
    EXPECT_EQ(stream->block().silent_callbacks, 1U);
}

TEST_F(StreamCopierTest, AStopDuringTheRampFallsFromWhereItIs) {
    prepare(10000, 0, 200, 0);
    const auto rising = buffer(60);
    interrupted = true;
    const auto falling = buffer(200);
    EXPECT_NEAR(static_cast<double>(falling[0]), static_cast<double>(rising.back()), 0.01);  // one step of the ramp
    EXPECT_GT(falling[30], 0.0F);
    for (std::size_t i = 61; i < 200; ++i) EXPECT_EQ(falling[i], 0.0F);
}

TEST_F(StreamCopierTest, CountsInterruptionsInsideTheRecordingOnly) {
    const StreamFlags all = {true, true, true, true};
    prepare(100, 0, 1, 10);
    buffer(10, all);  // warm-up
    buffer(10, all);  // the gap lies before the first recorded frame
    EXPECT_EQ(stream->block().input_overflows, 0U);
    buffer(10, all);
    buffer(10);
    buffer(70, all);
    buffer(10, all);  // all is recorded
    const StreamBlock& block = stream->block();
    EXPECT_EQ(block.input_overflows, 2U);
    EXPECT_EQ(block.input_underflows, 2U);
    EXPECT_EQ(block.output_overflows, 2U);
    EXPECT_EQ(block.output_underflows, 2U);
    EXPECT_EQ(block.callbacks, 6U);
}

// A stream that is held open: jobs come one after another.
class HeldCopierTest : public StreamCopierTest {
protected:
    void hold(std::size_t stimulus, std::size_t total, std::size_t ramp) {
        auto made = SharedStream::create(stimulus, total);
        ASSERT_TRUE(made.ok());
        stream = std::make_unique<SharedStream>(std::move(*made));
        StreamBlock& block = stream->block();
        block.held = 1;
        block.ramp_frames = ramp;
        block.output_channel = 1;
        block.generator_input = 2;
        block.coil_input = 0;
        copier = std::make_unique<StreamCopier>(*stream, inputs, outputs, 0, interrupted);
    }
    void job(std::size_t stimulus, std::size_t total, bool looped) {
        StreamBlock& block = stream->block();
        block.job_stimulus_frames = stimulus;
        block.job_total_frames = total;
        block.job_looped = looped ? 1 : 0;
        block.job = block.job + 1;
    }
};

TEST_F(HeldCopierTest, IsSilentBetweenJobsAndKeepsThemApart) {
    hold(100, 150, 1);
    for (std::size_t i = 0; i < 100; ++i) stream->stimulus()[i] = 1;
    for (const float x : buffer(40)) EXPECT_EQ(x, 0.0F) << "before the first job";
    EXPECT_EQ(stream->block().frames, 0U);
    job(100, 150, false);
    const std::size_t first = time;
    std::size_t sounding = 0;
    for (int i = 0; i < 30; ++i) {
        for (const float x : buffer(7)) sounding += x != 0 ? 1U : 0U;
    }
    EXPECT_EQ(stream->block().job_taken, 1U);
    EXPECT_EQ(sounding, 99U);  // the first frame is the foot of the one-frame ramp
    EXPECT_EQ(stream->block().frames, 150U);
    EXPECT_EQ(stream->coil()[149], value(0, first + 149));
    for (std::size_t i = 0; i < 60; ++i) stream->stimulus()[i] = 0.5F;
    job(60, 80, false);
    const std::size_t second = time;
    const auto played = buffer(100);
    EXPECT_EQ(stream->block().job_taken, 2U);
    EXPECT_EQ(stream->block().frames, 80U);
    EXPECT_EQ(stream->generator()[0], value(2, second));
    for (std::size_t i = 1; i < 100; ++i) EXPECT_EQ(played[i], i < 60 ? 0.5F : 0.0F) << i;
}

TEST_F(HeldCopierTest, LoopsWithoutAGapAndRecordsRoundAndRound) {
    hold(50, 200, 1);
    for (std::size_t i = 0; i < 50; ++i) stream->stimulus()[i] = static_cast<float>(i + 1) / 100;
    job(50, 200, true);
    std::vector<float> played;
    for (int i = 0; i < 43; ++i) {
        const auto part = buffer(11);
        played.insert(played.end(), part.begin(), part.end());
    }
    ASSERT_EQ(stream->block().frames, 473U);
    for (std::size_t i = 1; i < played.size(); ++i) EXPECT_EQ(played[i], stream->stimulus()[i % 50]) << i;
    // The newest 200 frames are there, each at its number modulo 200.
    for (std::size_t i = 273; i < 473; ++i) EXPECT_EQ(stream->coil()[i % 200], value(0, i)) << i;
}

TEST_F(HeldCopierTest, ANewJobEndsALoopThroughTheRampNotThroughAStep) {
    constexpr std::size_t ramp = 100;
    hold(50, 200, ramp);
    for (std::size_t i = 0; i < 50; ++i) stream->stimulus()[i] = 1;
    job(50, 200, true);
    auto played = buffer(300);
    job(0, 0, false);
    for (int i = 0; i < 4; ++i) {
        const auto part = buffer(60);
        played.insert(played.end(), part.begin(), part.end());
    }
    for (std::size_t i = 1; i < played.size(); ++i) {
        EXPECT_LE(std::abs(played[i] - played[i - 1]), static_cast<float>(std::numbers::pi / 2 / ramp) * 1.001F);
    }
    EXPECT_EQ(played.back(), 0.0F);
    EXPECT_EQ(stream->block().job_taken, 2U);
    stream->block().stop = 1;
    buffer(10);
    buffer(10);
    EXPECT_GE(stream->block().silent_callbacks, 1U);
}

// Late buffers between two jobs move the delay from output to input.
TEST_F(HeldCopierTest, CountsInterruptionsBetweenJobs) {
    hold(50, 100, 1);
    const StreamFlags all = {true, true, true, true};
    buffer(10, all);
    EXPECT_EQ(stream->block().input_overflows, 0U) << "before the first job nothing depends on it";
    job(50, 100, false);
    buffer(200);
    buffer(10, all);
    EXPECT_EQ(stream->block().input_overflows, 1U);
    EXPECT_EQ(stream->block().output_underflows, 1U);
}

TEST(SharedStream, RefusesWhatIsTooLongWithASentence) {
    const auto stream = SharedStream::create(10, SharedStream::longest_frames + 1);
    ASSERT_FALSE(stream.ok());
    EXPECT_EQ(stream.error().kind, ErrorKind::usage);
    EXPECT_NE(stream.error().message.find("10 minutes"), std::string::npos);
}

TEST(SharedStream, CutsTextsBetweenCharacters) {
    std::vector<char> field(6, 'x');
    put_text(field, "abc\xC3\xA9\xC3\xA9");  // abc and two e with acute
    EXPECT_STREQ(field.data(), "abc\xC3\xA9");
    put_text(field, "abcd\xC3\xA9");
    EXPECT_STREQ(field.data(), "abcd");
}

}  // namespace
}  // namespace coldtune::audio
