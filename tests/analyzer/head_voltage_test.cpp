// What the head of an unpowered coil reaches while it is swept, and that no sweep goes beyond the limit.
#include "analyzer/measure/head_voltage.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/measure/session.hpp"
#include "analyzer/model/secondary.hpp"
#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using std::numbers::pi;

// Lossless line of even winding, shorted at neither end, driven at the foot: at its quarter-wave resonance the head
// voltage is the foot current times Z0, and the foot's reactance rises like that of a series circuit with omega L =
// pi / 4 Z0. From memory; it follows from V = j I Z0 and Z = -j Z0 cot.
TEST(HeadVoltage, IsThatOfAQuarterWaveLine) {
    const double z0 = 30e3, q = 150;
    const double level = pi / 4 * z0, resistance = level / q;
    const double current = 0.5 * 10 / (10e3 + resistance);
    EXPECT_NEAR(measure::head_peak_v(20 * std::log10(0.5), 10, 10e3, q, resistance), current * z0, 1e-9);
}

// Every coil of even winding lies between the lumped circuit (a large top load) and the line.
TEST(HeadVoltage, BoundsTheModelsOfCoilsFromAbove) {
    const double turns[] = {700, 1400, 2400};
    for (const double n : turns) {
        for (const double toroid_m : {0.0, 0.3, 0.9}) {
            model::CoilDescription coil;
            auto& w = coil.secondary;
            w.diameter_m = 0.15;
            w.length_m = 0.65;
            w.turns = n;
            w.wire_diameter_m = 0.8 * w.length_m / n;
            w.base_height_m = 0.2;
            if (toroid_m > 0) coil.topload.emplace_back(model::Toroid{toroid_m, 0.2 * toroid_m, 0.1});
            const auto built = model::SecondaryModel::build(coil);
            ASSERT_TRUE(built);
            // At the zero of reactance, in small steps about the first mode.
            double f = built->modes_hz().front(), best = 1e300;
            const double mode_hz = f;
            for (double at = 0.995 * mode_hz; at < 1.005 * mode_hz; at += 2e-6 * mode_hz) {
                const double x = std::abs((1.0 / built->foot_admittance(at)).imag());
                if (x < best) best = x, f = at;
            }
            const std::complex<double> z = 1.0 / built->foot_admittance(f);
            const auto reactance = [&](double at) { return (1.0 / built->foot_admittance(at)).imag(); };
            // Q R = f/2 dX/df of a series resonance.
            const double step = 1e-4 * f;
            const double level = 0.5 * f * (reactance(f + step) - reactance(f - step)) / (2 * step);
            const double reference = 1e3, output_v = 11;
            const double truth = output_v * std::abs(z / (reference + z)) * std::abs(built->head_volts_per_volt(f));
            const double bound = measure::head_peak_v(0, output_v, reference, level / z.real(), z.real());
            EXPECT_GT(bound, 0.99 * truth) << n << " turns, toroid " << toroid_m;
            // 4 / pi for the lumped circuit, and a little for the current that leaves on the way to a large top load.
            EXPECT_LT(bound, 1.05 * 4 / pi * truth) << n << " turns, toroid " << toroid_m;
        }
    }
}

TEST(HeadVoltage, RefusesWithTheFigureAndALevelThatWouldDo) {
    const measure::HeadLimit limit{11, 60};
    // 40 kohm through 1 kohm at -6 dBFS: 5.51 V / 1.2k x 40k x 4 / pi = 234 V.
    const Status refused = measure::check_head(limit, -6, 1e3, 200, 200);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
    EXPECT_NE(refused.error().message.find("234 V peak (Q 200 as measured, output 11 V"), std::string::npos)
        << refused.error().message;
    EXPECT_NE(refused.error().message.find("set the level to -18 dBFS or less"), std::string::npos)
        << refused.error().message;
    EXPECT_TRUE(measure::check_head(limit, -18, 1e3, 200, 200));
    EXPECT_FALSE(measure::check_head(limit, -17, 1e3, 200, 200));
    EXPECT_TRUE(measure::check_head({11, 250}, -6, 1e3, 200, 200));
    EXPECT_TRUE(measure::check_head(limit, -6, 10e3, 200, 200));
}

// Remembers how loud it was asked to play.
class LoudestPort final : public audio::AudioPort {
public:
    explicit LoudestPort(bench::Bench bench)
        : port_(bench::make_simulated_port(std::move(bench), bench::Hookup::foot)) {}
    Result<std::vector<audio::DeviceInfo>> devices() override { return port_->devices(); }
    Result<audio::Recording> play_and_record(const audio::SweepRequest& request, std::stop_token stop,
                                             const audio::ProgressCallback& progress) override {
        ++sweeps;
        for (const double x : request.stimulus) loudest = std::max(loudest, std::abs(x));
        return port_->play_and_record(request, std::move(stop), progress);
    }
    Result<std::unique_ptr<audio::HeldStream>> hold(const audio::HoldRequest& request) override {
        return port_->hold(request);
    }
    int sweeps = 0;
    double loudest = 0;

private:
    std::unique_ptr<audio::AudioPort> port_;
};

TEST(HeadVoltage, ASessionEndsBeforeTheSweepThatWouldExceedTheLimit) {
    bench::Bench bench;
    bench.interface.sample_rate_hz = 96000;
    bench.wiring.reference_ohm = 1e3;
    bench.coil = test::series_coil(20e3, 120, 0.25, 10e-12);  // 31.4 kohm
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = 96000;
    settings.bench.reference_ohm = 1e3;
    const double asked = std::pow(10.0, settings.level_dbfs / 20);

    LoudestPort first(bench);
    const auto refused = run_session(first, settings, {}, {});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
    EXPECT_NE(refused.error().message.find("V peak (Q 1"), std::string::npos) << refused.error().message;
    EXPECT_EQ(first.sweeps, 1);
    // The look that told it was itself within the limit: V / (R + r) X 4 / pi.
    EXPECT_LT(first.loudest * 11 / (1e3 + 262) * 31.4e3 * 4 / pi, 60);

    settings.head.most_peak_v = 200;  // confirmed
    LoudestPort second(bench);
    const auto allowed = run_session(second, settings, {}, {});
    ASSERT_TRUE(allowed) << allowed.error().message;
    EXPECT_EQ(second.sweeps, 2);
    EXPECT_LE(second.loudest, asked * (1 + 1e-9));
    EXPECT_GT(second.loudest, 0.9 * asked);  // the measuring sweep itself is as loud as asked

    settings.head = {};
    settings.bench.reference_ohm = 10e3;
    bench.wiring.reference_ohm = 10e3;
    LoudestPort usual(bench);
    EXPECT_TRUE(run_session(usual, settings, {}, {}));
    EXPECT_EQ(usual.sweeps, 2);
}

}  // namespace
}  // namespace coldtune
