// From measured taps to the tap that meets the target, on primaries that are not quite the described ones.
#include <gtest/gtest.h>

#include <algorithm>
#include <cstdio>
#include <random>

#include "analyzer/model/primary.hpp"
#include "analyzer/model/tank.hpp"
#include "analyzer/tuning/capacitor_change.hpp"
#include "analyzer/tuning/primary_fit.hpp"
#include "analyzer/tuning/tune.hpp"
#include "tests/support/example_coil.hpp"
#include "tests/support/true_primary.hpp"

namespace coldtune {
namespace {

using test::WoundPrimary;
using tuning::MeasuredTap;
using tuning::PrimaryFit;

constexpr double kNoise = 3e-5;  // relative, of a tank's resonance in-band

// Flat spiral, cone or helix of usual sizes (common practice, no source).
model::CoilDescription described(std::mt19937_64& random) {
    const auto between = [&](double low, double high) { return std::uniform_real_distribution(low, high)(random); };
    auto coil = test::example_coil({model::Toroid{0.33, 0.08, 0.06}});
    const double angles[] = {0, 0, 0, 20, 30, 90};
    coil.primary = model::Primary{.inner_diameter_m = between(0.2, 0.36),
                                  .pitch_m = between(0.012, 0.025),
                                  .turns = std::floor(between(8, 16)),
                                  .conductor_diameter_m = between(0.005, 0.01),
                                  .angle_deg = angles[random() % 6],
                                  .base_height_m = 0.25};
    coil.tank = model::Tank{between(10e-9, 60e-9), std::nullopt, 0};
    return coil;
}

// Every size off by up to 5 %, the capacitor too, and up to 0.8 uH of leads that nobody described.
WoundPrimary wound(const model::CoilDescription& coil, std::mt19937_64& random) {
    std::uniform_real_distribution<double> off(0.95, 1.05), leads(0.1e-6, 0.8e-6);
    WoundPrimary truth;
    truth.sizes = *coil.primary;
    truth.sizes.inner_diameter_m *= off(random);
    truth.sizes.pitch_m *= off(random);
    truth.sizes.conductor_diameter_m *= off(random);
    truth.sizes.angle_deg = std::min(90.0, truth.sizes.angle_deg * off(random));
    truth.lead_h = leads(random);
    truth.capacitance_f = coil.tank->capacitance_f * off(random);
    return truth;
}

MeasuredTap measure(const WoundPrimary& truth, double turns, std::mt19937_64& random) {
    std::normal_distribution<double> noise(0, kNoise);
    std::uniform_real_distribution<double> clip(-tuning::kClipLimit_m, tuning::kClipLimit_m);
    const double metres = 2 * std::numbers::pi * std::hypot(truth.at(turns)[0], truth.at(turns)[1]);
    const double sits_at = turns + clip(random) / metres;
    return {"tap", turns, MeasuredTap::What::tank_frequency, truth.tank_hz(sits_at) * (1 + noise(random)), kNoise};
}

// Tap that the fit advises for a target inside its reach.
double advised(const PrimaryFit& fit, double target_hz) {
    double low = tuning::kLeastTap, high = fit.primary().turns;
    for (int i = 0; i < 60; ++i) {
        const double middle = 0.5 * (low + high);
        (fit.frequency_hz(middle) > target_hz ? low : high) = middle;
    }
    return low;
}

// The ring sums against the wire's own path: within 1 % of each other (the standard uncertainty the fit allows them),
// and by the same share at whole turns and between them, or a tap moved from one to the other would miss.
TEST(WoundPrimaryAndRings, AgreeAlikeAtWholeTurnsAndBetween) {
    for (const double angle : {0.0, 30.0, 90.0}) {
        const model::Primary p{.inner_diameter_m = 0.26,
                               .pitch_m = 0.018,
                               .turns = 10,
                               .conductor_diameter_m = 0.007,
                               .angle_deg = angle,
                               .base_height_m = 0.2};
        const WoundPrimary wire{p, 0, 1e-8};
        double low = 1, high = -1;
        for (double tap = 5; tap <= 10; tap += 0.25) {
            const double off = wire.inductance_h(tap) / model::primary_inductance_h(p, tap) - 1;
            low = std::min(low, off);
            high = std::max(high, off);
        }
        EXPECT_GT(low, -0.01) << angle;
        EXPECT_LT(high, 0.01) << angle;
        EXPECT_LT(high - low, 0.002) << angle;
        std::printf("slope %.0f: wire against rings %.3f to %.3f %%\n", angle, 100 * low, 100 * high);
    }
}

struct Landing {
    std::vector<double> one, two, near;  // relative distance from the target
    std::size_t cases = 0, one_inside = 0, two_inside = 0, unlikely = 0;
};

double worst(const std::vector<double>& v) {
    return *std::max_element(v.begin(), v.end());
}

// The builder measures at the tap that the description alone gives for the target, then a turn and a half away on
// either side, and last, instead, at the tap that the first measurement advised.
TEST(TapAdvice, LandsTheWoundTankOnItsTarget) {
    std::mt19937_64 random(20250211);
    Landing l;
    std::vector<double> described_alone, stated_one, stated_two;
    std::size_t calculated_inside = 0;
    for (int i = 0; i < 120; ++i) {
        auto coil = described(random);
        const WoundPrimary truth = wound(coil, random);
        const double somewhere = std::uniform_real_distribution(0.45, 0.8)(random) * coil.primary->turns;
        const double target_hz = truth.tank_hz(somewhere);
        const auto first = model::tap_for_frequency(*coil.primary, *coil.tank, target_hz);
        ASSERT_TRUE(first.ok()) << first.error().message;
        const MeasuredTap a = measure(truth, *first, random);
        const auto land = [&](const PrimaryFit& fit, std::size_t& inside, std::vector<double>& stated) {
            const double tap = advised(fit, target_hz);
            const double error = truth.tank_hz(tap) / target_hz - 1;
            inside += std::abs(error) <= 2 * fit.frequency_u_relative(tap) ? 1U : 0U;
            stated.push_back(2 * fit.frequency_u_relative(tap));
            return std::abs(error);
        };
        const auto one = PrimaryFit::build(coil, {a});
        ASSERT_TRUE(one.ok());
        coil.tank->tap_turns = *first;
        const auto calculated = model::calculate_tank(coil);
        const double there_hz = truth.tank_hz(*first);
        calculated_inside += std::abs(calculated->frequency_hz - there_hz) <= calculated->frequency_u95_hz ? 1U : 0U;
        described_alone.push_back(std::abs(truth.tank_hz(*first) / target_hz - 1));
        l.one.push_back(land(*one, l.one_inside, stated_one));
        const double away = *first + 1.5 <= coil.primary->turns && random() % 2 == 0 ? 1.5 : -1.5;
        const auto two = PrimaryFit::build(coil, {a, measure(truth, *first + away, random)});
        ASSERT_TRUE(two.ok());
        l.two.push_back(land(*two, l.two_inside, stated_two));
        std::size_t unused = 0;
        std::vector<double> ignored;
        const auto near = PrimaryFit::build(coil, {a, measure(truth, advised(*one, target_hz), random)});
        ASSERT_TRUE(near.ok());
        l.near.push_back(land(*near, unused, ignored));
        l.unlikely += two->chance() < 0.01 ? 1U : 0U;
        ++l.cases;
    }
    const auto median = [](std::vector<double> v) {
        std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
        return v[v.size() / 2];
    };
    std::printf(
        "distance from the target, largest (median), %%: description alone %.2f (%.2f), one tap %.3f (%.3f), "
        "two taps %.3f (%.3f), second at the advised tap %.4f\n",
        100 * worst(described_alone), 100 * median(described_alone), 100 * worst(l.one), 100 * median(l.one),
        100 * worst(l.two), 100 * median(l.two), 100 * worst(l.near));
    std::printf(
        "stated u95, median: one %.3f %%, two %.3f %%; inside %zu and %zu of %zu, calculated %zu; unlikely %zu\n",
        100 * median(stated_one), 100 * median(stated_two), l.one_inside, l.two_inside, l.cases, calculated_inside,
        l.unlikely);
    EXPECT_LE(worst(l.one), 0.005);
    EXPECT_LE(worst(l.two), 0.002);
    EXPECT_LE(worst(l.near), 0.002);
    // 95 % is stated; 91 % is two standard deviations of a count of 120 below it.
    EXPECT_GE(l.one_inside * 100, l.cases * 91);
    EXPECT_GE(l.two_inside * 100, l.cases * 91);
    EXPECT_GE(calculated_inside * 100, l.cases * 91);
    EXPECT_LE(l.unlikely, l.cases / 30);
}

}  // namespace
}  // namespace coldtune
