// Following a resonance that a hand moves. Truth: closed form of the lumped coil that hangs on the simulated bench.
#include "analyzer/measure/follow.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <numbers>
#include <vector>

#include "analyzer/bench/simulated_port.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

// A bench whose coil is another one at every reading: what `bench_at` gives for its number, from 0.
class MovingPort final : public audio::AudioPort {
public:
    using BenchAt = std::function<bench::Bench(std::size_t)>;
    explicit MovingPort(BenchAt bench_at) : bench_at_(std::move(bench_at)) {}

    Result<std::vector<audio::DeviceInfo>> devices() override { return port(0).devices(); }
    Result<audio::Recording> play_and_record(const audio::SweepRequest& request, std::stop_token stop,
                                             const audio::ProgressCallback& progress) override {
        return port(0).play_and_record(request, std::move(stop), progress);
    }
    Result<std::unique_ptr<audio::HeldStream>> hold(const audio::HoldRequest& request) override {
        return std::unique_ptr<audio::HeldStream>(std::make_unique<Stream>(*this, request));
    }
    std::optional<std::size_t> fails_at;  // the interface vanishes at this reading
    int loops = 0;
    std::function<std::size_t(std::size_t)> late = [](std::size_t) { return std::size_t{0}; };  // by then, in all

private:
    class Stream final : public audio::HeldStream {
    public:
        Stream(MovingPort& owner, audio::HoldRequest request) : owner_(owner), request_(std::move(request)) {
            first_ = std::move(*owner.port(0).hold(request_));
        }
        [[nodiscard]] double sample_rate_hz() const override { return request_.sample_rate_hz; }
        Result<audio::Recording> play_and_record(std::span<const double> stimulus, std::size_t tail,
                                                 std::stop_token stop, const audio::ProgressCallback& p) override {
            return first_->play_and_record(stimulus, tail, std::move(stop), p);
        }
        Status loop(std::span<const double> period, std::size_t kept) override {
            ++owner_.loops;
            period_.assign(period.begin(), period.end());
            kept_ = kept;
            recorded_ = 0;
            return Done{};
        }
        Result<std::uint64_t> recorded_frames() override { return recorded_ += period_.size(); }
        Result<dsp::TwoChannelCapture> read(std::uint64_t first, std::size_t count) override {
            const std::size_t number = reading_++;
            if (owner_.fails_at == number)
                return device_error("the interface was unplugged; plug it in and start again");
            auto held = owner_.port(number).hold(request_);
            if (auto looped = (*held)->loop(period_, kept_); !looped) return looped.error();
            return (*held)->read(first, count);
        }
        [[nodiscard]] std::size_t late_buffers() const override { return owner_.late(reading_); }
        Status silence() override { return Done{}; }

    private:
        MovingPort& owner_;
        audio::HoldRequest request_;
        std::unique_ptr<audio::HeldStream> first_;
        std::vector<double> period_;
        std::size_t kept_ = 0, reading_ = 0;
        std::uint64_t recorded_ = 0;
    };

    bench::SimulatedPort& port(std::size_t number) {
        auto& kept = ports_[number];
        if (!kept) kept = bench::make_simulated_port(bench_at_(number), bench::Hookup::foot);
        return *kept;
    }
    BenchAt bench_at_;
    std::map<std::size_t, std::unique_ptr<bench::SimulatedPort>> ports_;
};

bench::Bench bench_with(double frequency_hz, double q, std::size_t number) {
    bench::Bench bench;
    bench.coil = test::series_coil(frequency_hz, q, 25e3 / (2 * std::numbers::pi * 60e3), 0);
    bench.seed = number + 1;
    return bench;
}

measure::FollowSettings settings_of() {
    measure::FollowSettings settings;
    settings.session.device = "simulated";
    settings.session.sample_rate_hz = 192000;
    settings.session.bench = {10e3, 1e6, 162e-12, 0};
    settings.bench.bench = settings.session.bench;
    return settings;
}

TEST(Follow, ReadsAboutSixTimesASecondAndStaysRight) {
    MovingPort port([](std::size_t n) { return bench_with(60e3, 120, n); });
    std::stop_source stop;
    std::vector<measure::FollowReading> readings;
    const auto status = measure::follow(port, settings_of(), stop.get_token(),
                                        [&](measure::FollowReading&& reading) {
                                            readings.push_back(std::move(reading));
                                            if (readings.size() == 10) stop.request_stop();
                                        },
                                        {});
    ASSERT_TRUE(status.ok()) << status.error().message;
    ASSERT_EQ(readings.size(), 10U);
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const auto* r = readings[i].result.resonance();
        ASSERT_NE(r, nullptr) << readings[i].result.findings.front().text;
        EXPECT_NEAR(r->frequency_hz, 60e3, r->frequency_u95_hz);
        // A third of a second of sweep without standards; the noise's own share is below a hertz.
        EXPECT_NEAR(r->frequency_hz / 60e3, 1, 100e-6);
        EXPECT_NEAR(*r->q / 120, 1, 0.02);
        EXPECT_EQ(readings[i].number, i + 1);
        EXPECT_LE(readings[i].period_s, 0.2);  // five times a second
        if (i > 0) {
            EXPECT_NEAR(readings[i].at_s - readings[i - 1].at_s, readings[i].period_s, 1e-9);
        }
    }
    EXPECT_EQ(port.loops, 1) << "nothing moved, so the loop goes on without a gap";
}

// A top load lowered by hand: 0.4 % a reading, 14 % in all, out of the concentrated part of the sweep several times.
TEST(Follow, GoesWithAResonanceThatMoves) {
    const auto frequency = [](std::size_t n) { return 70e3 * std::pow(0.996, static_cast<double>(n)); };
    MovingPort port([&](std::size_t n) { return bench_with(frequency(n), 100, n); });
    std::stop_source stop;
    std::size_t seen = 0, count = 0;
    const auto status = measure::follow(port, settings_of(), stop.get_token(),
                                        [&](measure::FollowReading&& reading) {
                                            const std::size_t n = count++;
                                            if (const auto* r = reading.result.resonance()) {
                                                ++seen;
                                                EXPECT_NEAR(r->frequency_hz / frequency(n), 1, 200e-6)
                                                    << "reading " << n;
                                            }
                                            if (count == 36) stop.request_stop();
                                        },
                                        {});
    ASSERT_TRUE(status.ok()) << status.error().message;
    EXPECT_EQ(seen, 36U);
    EXPECT_GT(port.loops, 3) << "the sweep has to be concentrated anew";
}

// Gone for a while (the clip is off), and back at another place: found again by the whole band.
TEST(Follow, FindsALostResonanceAgain) {
    MovingPort port([](std::size_t n) {
        bench::Bench bench = bench_with(n < 3 ? 60e3 : 41e3, 100, n);
        if (n >= 3 && n < 10) bench.faults.changes.push_back({bench::DeviceChange::Kind::contact_lost, 0, 100, 0, 0});
        return bench;
    });
    std::stop_source stop;
    std::vector<std::optional<double>> found;
    const auto status =
        measure::follow(port, settings_of(), stop.get_token(),
                        [&](measure::FollowReading&& reading) {
                            const auto* r = reading.result.resonance();
                            found.push_back(r != nullptr ? std::optional(r->frequency_hz) : std::nullopt);
                            if (found.size() == 16) stop.request_stop();
                        },
                        {});
    ASSERT_TRUE(status.ok()) << status.error().message;
    for (std::size_t n = 0; n < 3; ++n) EXPECT_NEAR(found[n].value_or(0), 60e3, 12);
    for (std::size_t n = 3; n < 10; ++n) EXPECT_FALSE(found[n]) << "an open lead has no resonance";
    for (std::size_t n = 12; n < 16; ++n) EXPECT_NEAR(found[n].value_or(0), 41e3, 8);
}

TEST(Follow, ABufferThatCameLateSpoilsAReadingAndNoMore) {
    MovingPort port([](std::size_t n) { return bench_with(60e3, 120, n); });
    port.late = [](std::size_t n) { return n < 2 ? std::size_t{0} : std::size_t{3}; };
    std::stop_source stop;
    std::size_t readings = 0;
    const auto status = measure::follow(port, settings_of(), stop.get_token(),
                                        [&](measure::FollowReading&& reading) {
                                            ASSERT_NE(reading.result.resonance(), nullptr);
                                            EXPECT_NEAR(reading.result.resonance()->frequency_hz / 60e3, 1, 100e-6);
                                            if (++readings == 6) stop.request_stop();
                                        },
                                        {});
    EXPECT_TRUE(status.ok()) << status.error().message;
    EXPECT_EQ(readings, 6U);
    // Late all the time: that is no measurement, and it says so.
    std::size_t ever = 0;
    port.late = [&](std::size_t) { return ++ever; };
    const auto hopeless = measure::follow(port, settings_of(), {}, [](measure::FollowReading&&) {}, {});
    ASSERT_FALSE(hopeless.ok());
    EXPECT_EQ(hopeless.error().kind, ErrorKind::device);
    EXPECT_NE(hopeless.error().message.find("late"), std::string::npos);
}

TEST(Follow, AnInterfaceThatVanishesEndsItWithASentence) {
    MovingPort port([](std::size_t n) { return bench_with(60e3, 120, n); });
    port.fails_at = 2;
    std::size_t readings = 0;
    const auto status = measure::follow(port, settings_of(), {}, [&](measure::FollowReading&&) { ++readings; }, {});
    ASSERT_FALSE(status.ok());
    EXPECT_EQ(status.error().kind, ErrorKind::device);
    EXPECT_EQ(readings, 2U);
    auto winding = settings_of();
    winding.session.hookup = bench::Hookup::winding;
    const auto refused = measure::follow(port, winding, {}, [](measure::FollowReading&&) {}, {});
    ASSERT_FALSE(refused.ok());
    EXPECT_EQ(refused.error().kind, ErrorKind::usage);
}

}  // namespace
}  // namespace coldtune
