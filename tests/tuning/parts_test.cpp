// The small parts of a tune: capacitors, the axis in the terminal, the steps, what a result keeps.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "analyzer/cli/frequency_axis.hpp"
#include "analyzer/cli/tuning_text.hpp"
#include "analyzer/measure/described_json.hpp"
#include "analyzer/tuning/capacitor_change.hpp"
#include "analyzer/tuning/sequence.hpp"
#include "tests/support/example_coil.hpp"

namespace coldtune {
namespace {

using ::testing::HasSubstr;

TEST(CapacitorChange, InParallelWhereTheTankRingsHigh) {
    // 2 % high of 10 nF: 404 pF more; the nearest of E12 (10 12 15 18 22 27 33 39 47 ..., IEC 60063) is 390 pF.
    const auto c = tuning::capacitor_change(10e-9, 102e3, 100e3);
    EXPECT_NEAR(c.needed_f, 10.404e-9, 1e-15);
    EXPECT_NEAR(c.change_f, 404e-12, 1e-15);
    ASSERT_TRUE(c.preferred_f.has_value());
    EXPECT_NEAR(*c.preferred_f, 390e-12, 1e-18);
    EXPECT_NEAR(*c.preferred_hz, 102e3 / std::sqrt(1.039), 1e-6);
    EXPECT_FALSE(c.series_f.has_value());
}

TEST(CapacitorChange, InSeriesWhereItRingsLow) {
    const auto c = tuning::capacitor_change(10e-9, 90e3, 100e3);
    EXPECT_NEAR(c.needed_f, 8.1e-9, 1e-15);
    // 1/8.1 = 1/10 + 1/C.
    EXPECT_NEAR(1 / (1 / 10e-9 + 1 / *c.series_f), 8.1e-9, 1e-15);
    EXPECT_FALSE(c.preferred_f.has_value());
}

TEST(CapacitorChange, NamesNothingWhereNothingIsNeeded) {
    const auto c = tuning::capacitor_change(10e-9, 100e3, 100e3);
    EXPECT_EQ(c.change_f, 0);
    EXPECT_FALSE(c.preferred_f.has_value());
    EXPECT_FALSE(c.series_f.has_value());
}

TEST(FrequencyAxis, PutsIntervalsWhereTheyAre) {
    // 88 to 112 kHz with a twelfth of the span (2 kHz) on either side: 86 to 114 kHz over 57 columns, 0.5 kHz each.
    const std::string text = cli::frequency_axis({{"one", 88e3, 90e3, 92e3}, {"three", 111.9e3, 112e3, 112e3}}, 57);
    EXPECT_EQ(text.substr(0, text.find('\n')), "    one        <---|--->");
    EXPECT_THAT(text, HasSubstr("    three  " + std::string(52, ' ') + "|\n"));
    EXPECT_THAT(text, HasSubstr("86.00 kHz"));
    EXPECT_THAT(text, HasSubstr("114.0 kHz"));
    EXPECT_EQ(cli::frequency_axis({}), "");
    // All in one place: still an axis, no division by nothing.
    EXPECT_THAT(cli::frequency_axis({{"x", 1e5, 1e5, 1e5}}), HasSubstr("|"));
}

TEST(TuneSteps, AreDoneLeftOrToBeRepeated) {
    tuning::Progress p;
    p.described = p.has_topload = p.secondary = true;
    p.taps = 2;
    const auto state = [&](std::string_view key) {
        for (const auto& s : tuning::steps_of(p)) {
            if (s.key == key) return s.state;
        }
        throw std::runtime_error("no such step");
    };
    using State = tuning::Step::State;
    EXPECT_EQ(state("bare"), State::worthwhile);
    EXPECT_EQ(state("second-tap"), State::done);
    EXPECT_EQ(state("set-tap"), State::left);
    p.contradicted = true;
    EXPECT_EQ(state("secondary"), State::again);
    EXPECT_EQ(state("tank"), State::again);
    p = {};
    EXPECT_EQ(state("describe"), State::left);
    EXPECT_EQ(state("secondary"), State::left);
    EXPECT_EQ(tuning::steps_of(p).back().key, "before-power");
    for (const auto& s : tuning::steps_of(p)) EXPECT_NE(s.key, "bare");  // no top load, nothing to take off
}

TEST(TapPoints, AreReadAsTyped) {
    const auto tap = cli::parse_tap("9.5=a=b.json");
    ASSERT_TRUE(tap.ok());
    EXPECT_DOUBLE_EQ(tap->turns, 9.5);
    EXPECT_EQ(tap->file, "a=b.json");
    for (const char* bad : {"", "9.5", "=a", "9.5=", "x=a", "0=a", "-1=a", "9.5 mm=a"}) {
        const auto refused = cli::parse_tap(bad);
        ASSERT_FALSE(refused.ok()) << bad;
        EXPECT_EQ(refused.error().kind, ErrorKind::usage);
        EXPECT_EQ(refused.error().message.find('\n'), std::string::npos);
    }
}

TEST(DescribedJson, ComesBackAsItWasWritten) {
    auto coil = test::example_coil({model::Toroid{0.3, 0.08, 0.06}, model::Sphere{0.2, 0.2}, model::Disc{0.4, 0.1}});
    coil.name = "three bodies";
    coil.primary = model::Primary{0.26, 0.016, 12, 0.008, 0, 0.25};
    coil.tank = model::Tank{10e-9, std::nullopt, 0.5e-6};
    const auto back = measure::described_of(measure::described_json(coil));
    ASSERT_TRUE(back.has_value());
    EXPECT_EQ(back->name, "three bodies");
    EXPECT_TRUE(measure::same_topload(back->topload, coil.topload));
    ASSERT_TRUE(back->tank.has_value());
    EXPECT_EQ(back->tank->capacitance_f, 10e-9);
    EXPECT_FALSE(back->tank->tap_turns.has_value());
    EXPECT_EQ(back->tank->lead_inductance_h, 0.5e-6);

    auto other = coil.topload;
    std::get<model::Sphere>(other[1]).diameter_m *= 1.01;
    EXPECT_FALSE(measure::same_topload(other, coil.topload));
    EXPECT_FALSE(measure::same_topload({model::Sphere{0.4, 0.1}}, {model::Disc{0.4, 0.1}}));
    EXPECT_FALSE(measure::same_topload({}, coil.topload));

    // What is not as written tells nothing.
    EXPECT_FALSE(measure::described_of(nullptr).has_value());
    for (const char* bad : {R"({})", R"({"topload": 3})", R"({"topload": [{"shape": "cube", "height_m": 1}]})",
                            R"({"topload": [{"shape": "disc", "height_m": 1}]})",
                            R"({"topload": [], "tank": {"capacitance_f": "10n"}})"}) {
        EXPECT_FALSE(measure::described_of(nlohmann::ordered_json::parse(bad)).has_value()) << bad;
    }
    const measure::BenchFacts facts{"my interface", "2026-11-27T10:00:00Z", 10e3, std::nullopt};
    const auto again = measure::bench_of(measure::bench_json(facts));
    EXPECT_EQ(again.device, facts.device);
    EXPECT_EQ(again.reference_ohm, 10e3);
    EXPECT_FALSE(again.noted_reference_ohm.has_value());
}

}  // namespace
}  // namespace coldtune
