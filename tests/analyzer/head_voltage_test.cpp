// What the head of an unpowered coil reaches while it is swept, and that no sweep goes beyond the limit.
#include "analyzer/measure/head_voltage.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "analyzer/bench/simulated_port.hpp"
#include "analyzer/measure/session.hpp"
#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/model/secondary.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/example_pair.hpp"

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
    EXPECT_NEAR(measure::head_peak_v(20 * std::log10(0.5), 10, measure::loaded_q(10e3, q, resistance)), current * z0,
                1e-9);
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
            const double bound =
                measure::head_peak_v(0, output_v, measure::loaded_q(reference, level / z.real(), z.real()));
            EXPECT_GT(bound, 0.99 * truth) << n << " turns, toroid " << toroid_m;
            // 4 / pi for the lumped circuit, and a little for the current that leaves on the way to a large top load.
            EXPECT_LT(bound, 1.05 * 4 / pi * truth) << n << " turns, toroid " << toroid_m;
        }
    }
}

TEST(HeadVoltage, RefusesWithTheFigureAndALevelThatWouldDo) {
    const measure::HeadLimit limit{11, 60};
    // 40 kohm through 1 kohm at -6 dBFS: 5.51 V / 1.2k x 40k x 4 / pi = 234 V.
    const double through_1k = measure::loaded_q(1e3, 200, 200), through_10k = measure::loaded_q(10e3, 200, 200);
    const Status refused = measure::check_head(limit, -6, through_1k);
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
    EXPECT_NE(refused.error().message.find("234 V peak (Q 33.3 as measured with the reference resistor in the circuit"),
              std::string::npos)
        << refused.error().message;
    EXPECT_NE(refused.error().message.find("set the level to -18 dBFS or less"), std::string::npos)
        << refused.error().message;
    EXPECT_TRUE(measure::check_head(limit, -18, through_1k));
    EXPECT_FALSE(measure::check_head(limit, -17, through_1k));
    EXPECT_TRUE(measure::check_head({11, 250}, -6, through_1k));
    EXPECT_TRUE(measure::check_head(limit, -6, through_10k));
}

// Remembers how loud it was asked to play.
class LoudestPort final : public audio::AudioPort {
public:
    explicit LoudestPort(bench::Bench bench, bench::Hookup hookup = bench::Hookup::foot)
        : port_(bench::make_simulated_port(std::move(bench), hookup)) {}
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
    EXPECT_NE(refused.error().message.find("V peak (Q 24."), std::string::npos) << refused.error().message;
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

// A wire near the head hears the coil with the resistor in its circuit: V Q_loaded, and no resistance at the foot is
// known.
TEST(HeadVoltage, TheWireNearTheHeadLimitsTheSweepAsWell) {
    bench::Bench bench;
    bench.interface.sample_rate_hz = 96000;
    bench.wiring.reference_ohm = 1e3;
    bench.coil = test::series_coil(20e3, 120, 0.25, 10e-12);  // 31.4 kohm: 5.51 V x 31.4k / 1.262k x 4 / pi = 175 V
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.hookup = bench::Hookup::pickup;
    settings.sample_rate_hz = 96000;
    settings.bench.reference_ohm = 1e3;
    LoudestPort refusing(bench, settings.hookup);
    const auto refused = run_session(refusing, settings, {}, {});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
    const std::string& said = refused.error().message;
    const auto at = said.find("would reach ");
    ASSERT_NE(at, std::string::npos) << said;
    EXPECT_NEAR(std::stod(said.substr(at + 12)), 175, 4) << said;
    EXPECT_EQ(refusing.sweeps, 1);
    settings.level_dbfs = -16;  // 55 V
    LoudestPort allowed(bench, settings.hookup);
    const auto swept = run_session(allowed, settings, {}, {});
    ASSERT_TRUE(swept) << swept.error().message;
    EXPECT_EQ(allowed.sweeps, 2);
}

// The tank closed: the head rises at either peak, by no more than the secondary alone would let it.
TEST(HeadVoltage, BothPeaksOfACoupledPairStayWithinTheLimit) {
    bench::Bench bench;
    bench::CoilOnBench coil;
    coil.description = test::example_pair();
    coil.sections = 40;
    bench.coil = coil;
    bench.tank = {58e-6, 0.3, 98e-9};
    bench.primary_circuit = bench::PrimaryCircuit::closed;
    bench.wiring.reference_ohm = 1e3;
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = bench.interface.sample_rate_hz;
    settings.bench.reference_ohm = 1e3;
    settings.coupled = true;
    LoudestPort port(bench);
    const auto refused = run_session(port, settings, {}, {});
    ASSERT_FALSE(refused);
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
    EXPECT_EQ(port.sweeps, 1);
    const std::string& said = refused.error().message;
    const auto at = said.find("would reach ");
    ASSERT_NE(at, std::string::npos) << said;
    const double stated_v = std::stod(said.substr(at + 12));
    // The largest voltage that the pair's own circuit puts on the head, in small steps over both peaks.
    const auto pair = model::make_coupled_pair(test::example_pair(), {.sections = 40, .convergence = 1e-3},
                                               model::TankLoop{58e-6, 0.3, 98e-9});
    ASSERT_TRUE(pair) << pair.error().message;
    const auto modes = pair->modes_hz();
    double truth_v = 0;
    for (double f = 0.9 * modes[0]; f < 1.1 * modes[1]; f *= 1 + 5e-5) {
        const std::complex<double> z = 1.0 / pair->foot_admittance(f);
        truth_v = std::max(truth_v, std::pow(10.0, settings.level_dbfs / 20) * settings.head.output_peak_v *
                                        std::abs(z / (1e3 + z) * pair->head_volts_per_volt(f)));
    }
    EXPECT_GT(truth_v, 60);
    EXPECT_GT(stated_v, 0.98 * truth_v);
    EXPECT_LT(stated_v, 2 * 4 / pi * truth_v);
}

// A peak of a Q that the bins of the first look cannot resolve: what the head would reach is not known.
TEST(HeadVoltage, WhereTheQIsNotSeenNothingIsLouderThanTheFirstLook) {
    bench::Bench bench;
    bench.interface.sample_rate_hz = 96000;
    bench.coil = test::series_coil(20e3, 900, 0.25, 10e-12);
    bench.wiring.reference_ohm = 1e3;
    measure::SessionSettings settings;
    settings.device = "simulated";
    settings.sample_rate_hz = 96000;
    settings.period_frames = 4096;  // bins as wide as the resonance
    settings.bench.reference_ohm = 1e3;
    LoudestPort port(bench);
    const auto swept = run_session(port, settings, {}, {});
    ASSERT_TRUE(swept) << swept.error().message;
    EXPECT_EQ(port.sweeps, 2);
    EXPECT_LT(port.loudest * 11 / (1e3 + 34.9) * 31.4e3 * 4 / pi, 60);
}

}  // namespace
}  // namespace coldtune
