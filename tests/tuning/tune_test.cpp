// The whole tune: outcome, advice, and inputs that do not belong together.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "analyzer/model/primary.hpp"
#include "analyzer/tuning/tune.hpp"
#include "tests/support/example_coil.hpp"
#include "tests/support/written_result.hpp"

namespace coldtune {
namespace {

using test::read_back;
using test::WrittenResult;
using ::testing::HasSubstr;
using tuning::Outcome;
using tuning::TuneRequest;
using tuning::TuneResult;

constexpr auto kTank = bench::Hookup::tank;

model::CoilDescription whole_coil() {
    auto coil = test::example_coil({model::Toroid{0.33, 0.08, 0.06}});
    coil.primary = model::Primary{.inner_diameter_m = 0.26,
                                  .pitch_m = 0.016,
                                  .turns = 12,
                                  .conductor_diameter_m = 0.008,
                                  .angle_deg = 0,
                                  .base_height_m = 0.25};
    coil.tank = model::Tank{10e-9, 9.0, 0.4e-6};
    return coil;
}

double described_hz(const model::CoilDescription& coil, double tap) {
    return model::tank_frequency_hz(model::primary_inductance_h(*coil.primary, tap) + coil.tank->lead_inductance_h,
                                    coil.tank->capacitance_f);
}

// Secondary such that the target is the tank, as described, tapped there.
TuneRequest meeting_at(double tap) {
    TuneRequest r;
    r.coil = whole_coil();
    r.coil_name = "coil.json";
    const double target_hz = described_hz(r.coil, tap);
    r.secondary = read_back({.frequency_hz = target_hz / (1 - r.allowance), .description = r.coil}, "s.json");
    r.primary = read_back({.hookup = kTank, .frequency_hz = described_hz(r.coil, 9), .description = r.coil}, "p.json");
    return r;
}

TuneResult tuned(const TuneRequest& r) {
    auto result = tuning::tune(r);
    EXPECT_TRUE(result.ok()) << (result ? "" : result.error().message);
    return result ? std::move(*result) : TuneResult{};
}

const tuning::Remark* remark(const TuneResult& r, const std::string& code) {
    const auto at = std::find_if(r.remarks.begin(), r.remarks.end(), [&](const auto& x) { return x.code == code; });
    return at == r.remarks.end() ? nullptr : &*at;
}

std::string state_of(const TuneResult& r, std::string_view key) {
    for (const auto& s : r.steps) {
        if (s.key == key) return std::string(tuning::state_name(s.state));
    }
    return "no such step";
}

TEST(Tune, SaysTunedWhereTheTankMeetsItsTarget) {
    const TuneResult r = tuned(meeting_at(9.0));
    EXPECT_EQ(r.outcome(), Outcome::tuned);
    // Both are known to 2 parts in 1e5 and share a clock.
    EXPECT_NEAR(r.tuning->mismatch.value, 0, 1e-9);
    EXPECT_LT(r.tuning->tuned_within, 1e-4);
    EXPECT_EQ(state_of(r, "verify"), "done");
    EXPECT_EQ(state_of(r, "second-tap"), "worthwhile");
    EXPECT_EQ(state_of(r, "before-power"), "left");
    EXPECT_TRUE(r.remarks.empty());
}

TEST(Tune, TellsWhereToPutTheTapAlongTheConductor) {
    const TuneRequest request = meeting_at(7.4);
    const TuneResult r = tuned(request);
    EXPECT_EQ(r.outcome(), Outcome::move_tap);
    const auto& advice = *r.tuning->advice;
    // What was measured is what is described, so the tap is the described one.
    EXPECT_NEAR(advice.turns.value, 7.4, 1e-6);
    EXPECT_GT(advice.turns.u95, 0.003);
    EXPECT_LT(advice.turns.u95, 0.03);
    EXPECT_EQ(advice.mark, 7);
    const auto length = [&](double tap) { return model::primary_conductor_length_m(*request.coil.primary, tap); };
    EXPECT_NEAR(advice.past_mark_m, length(7.4) - length(7), 1e-5);
    EXPECT_NEAR(advice.move_turns, -1.6, 1e-6);
    EXPECT_NEAR(advice.move_m, length(7.4) - length(9), 1e-5);
    // The capacitor that does the same, from f ~ 1/sqrt(C).
    const double ratio = described_hz(request.coil, 9) / described_hz(request.coil, 7.4);
    EXPECT_NEAR(r.tuning->capacitor.needed_f / (10e-9 * ratio * ratio), 1, 1e-9);
    EXPECT_TRUE(r.tuning->capacitor.series_f.has_value());
    EXPECT_EQ(state_of(r, "set-tap"), "left");
}

TEST(Tune, SaysWhatWouldReachATargetOutsideThePrimary) {
    TuneRequest request = meeting_at(9);
    request.secondary = read_back(
        {.frequency_hz = 0.9 * described_hz(request.coil, 12) / 0.97, .description = request.coil}, "low.json");
    TuneResult r = tuned(request);
    EXPECT_EQ(r.outcome(), Outcome::change_capacitor);
    ASSERT_TRUE(r.tuning->out_of_reach.has_value());
    EXPECT_FALSE(r.tuning->advice.has_value());
    EXPECT_NEAR(r.tuning->out_of_reach->by_relative, 0.1, 1e-4);
    EXPECT_NEAR(r.tuning->out_of_reach->capacitance_f / (10e-9 / 0.81), 1, 1e-3);
    auto longer = request.coil;
    longer.primary->turns = 20;
    EXPECT_NEAR(described_hz(longer, *r.tuning->out_of_reach->turns_needed) / (0.9 * described_hz(request.coil, 12)), 1,
                1e-3);
    ASSERT_NE(remark(r, "out-of-reach"), nullptr);
    EXPECT_THAT(remark(r, "out-of-reach")->text, HasSubstr("10 % below"));

    request.secondary =
        read_back({.frequency_hz = 2 * described_hz(request.coil, 1), .description = request.coil}, "high.json");
    r = tuned(request);
    EXPECT_FALSE(r.tuning->out_of_reach->too_low);
    EXPECT_FALSE(r.tuning->out_of_reach->turns_needed.has_value());
}

// A target nearer than the secondary is known, and known too badly to call it tuned.
TEST(Tune, MovesNothingOnTheStrengthOfAnUncertainSecondary) {
    TuneRequest request = meeting_at(9);
    request.secondary = read_back({.frequency_hz = 1.03 * request.secondary.resonance->value,
                                   .description = request.coil,
                                   .noise_relative = 0.02},
                                  "s2.json");
    const TuneResult r = tuned(request);
    EXPECT_EQ(r.outcome(), Outcome::undecided);
    EXPECT_EQ(state_of(r, "verify"), "left");
}

TEST(Tune, TheAllowanceMovesTheTarget) {
    TuneRequest request = meeting_at(9);
    request.allowance = 0;
    EXPECT_NEAR(tuned(request).tuning->target_hz.value / request.secondary.resonance->value, 1, 1e-12);
    EXPECT_EQ(tuned(request).outcome(), Outcome::move_tap);
    request.allowance = 0.3;
    EXPECT_EQ(tuning::tune(request).error().kind, ErrorKind::usage);
}

// The inductance of the winding alone serves as a tap, and leaves the tank to be proved.
TEST(Tune, TakesAnInductanceAtATap) {
    TuneRequest request = meeting_at(9);
    request.primary.reset();
    EXPECT_EQ(tuning::tune(request).error().kind, ErrorKind::usage);  // no tap at all
    const double henry = model::primary_inductance_h(*request.coil.primary, 9);
    measure::KnownResult winding;
    winding.name = "w.json";
    winding.hookup = bench::Hookup::winding;
    winding.inductance = measure::KnownValue{henry, 0.02 * henry, {{"noise", 0.01}}};
    request.taps.push_back({9, winding});
    const TuneResult r = tuned(request);
    EXPECT_TRUE(r.tuning->taps.back().inductance);
    EXPECT_NEAR(r.tuning->tank_hz.value / described_hz(request.coil, 9), 1, 1e-9);
    // Inductance 1 % standard, leads 0.5 uH of 37 uH and 5 % of capacitor rectangular: about 1.7 % standard.
    EXPECT_NEAR(r.tuning->tank_hz.u95 / r.tuning->tank_hz.value, 0.034, 0.004);
    EXPECT_NE(state_of(r, "verify"), "done");
}

// ---- contradictions

TEST(TuneContradictions, ASecondaryWithAnotherTopLoadIsRejected) {
    TuneRequest request = meeting_at(9);
    auto bare = request.coil;
    bare.topload.clear();
    request.secondary = read_back({.frequency_hz = 300e3, .description = bare}, "bare.json");
    const TuneResult r = tuned(request);
    EXPECT_EQ(r.outcome(), Outcome::rejected);
    EXPECT_FALSE(r.tuning.has_value());
    ASSERT_NE(remark(r, "other-top-load"), nullptr);
    EXPECT_THAT(remark(r, "other-top-load")->text, HasSubstr("toroid 330 mm by 80.0 mm"));
    EXPECT_EQ(state_of(r, "secondary"), "again");
}

TEST(TuneContradictions, WhatTheResultsBroughtAlongIsCarried) {
    TuneRequest request = meeting_at(9);
    WrittenResult tank{.hookup = kTank, .frequency_hz = described_hz(request.coil, 9), .description = request.coil};
    tank.findings = {{measure::FindingCode::correction_stale, measure::Weight::caution, "measured with another lead"}};
    tank.device = "another interface";
    tank.reference_ohm = 100;
    tank.noted_reference_ohm = 220;
    request.primary = read_back(tank, "p2.json");
    const TuneResult r = tuned(request);
    ASSERT_NE(remark(r, "correction-stale"), nullptr);
    EXPECT_THAT(remark(r, "correction-stale")->text, HasSubstr("p2.json: measured with another lead"));
    ASSERT_NE(remark(r, "other-clock"), nullptr);
    ASSERT_NE(remark(r, "other-reference"), nullptr);
    EXPECT_THAT(remark(r, "other-reference")->text, HasSubstr("220"));
    // Two clocks of 50 ppm, rectangular, in place of one that cancels.
    EXPECT_NEAR(r.tuning->mismatch.u95, 2 * std::hypot(1e-5, 1e-5, 50e-6 * std::sqrt(2.0 / 3)), 2e-6);
}

TEST(TuneContradictions, AnotherCapacitorOrTapIsRejectedUnlessStated) {
    TuneRequest request = meeting_at(9);
    auto other = request.coil;
    other.tank->capacitance_f = 12e-9;
    const WrittenResult capacitor{.hookup = kTank, .frequency_hz = 200e3, .description = other};
    request.primary = read_back(capacitor, "c.json");
    EXPECT_NE(remark(tuned(request), "other-capacitor"), nullptr);
    EXPECT_EQ(tuned(request).outcome(), Outcome::rejected);

    other = request.coil;
    other.tank->tap_turns = 8;
    const WrittenResult tap{.hookup = kTank, .frequency_hz = described_hz(other, 8), .description = other};
    request.primary = read_back(tap, "t.json");
    EXPECT_EQ(tuned(request).outcome(), Outcome::rejected);
    request.primary.reset();
    request.taps.push_back({8, read_back(tap, "t.json")});
    EXPECT_NE(tuned(request).outcome(), Outcome::rejected);
    EXPECT_EQ(remark(tuned(request), "other-tap"), nullptr);  // analysed there, stated there
    request.taps.back().turns = 8.2;
    ASSERT_NE(remark(tuned(request), "other-tap"), nullptr);
    EXPECT_EQ(remark(tuned(request), "other-tap")->weight, measure::Weight::note);
}

TEST(TuneContradictions, APrimaryThatIsAnotherOneGivesNoTap) {
    TuneRequest request = meeting_at(9);
    // One turn miscounted in nine is seen; three are too many to reckon with.
    request.primary =
        read_back({.hookup = kTank, .frequency_hz = described_hz(request.coil, 6), .description = {}}, "far.json");
    const TuneResult r = tuned(request);
    ASSERT_NE(remark(r, "primary-differs"), nullptr);
    EXPECT_EQ(r.outcome(), Outcome::rejected);
}

TEST(TuneContradictions, AnotherDescriptionIsSeen) {
    TuneRequest request = meeting_at(9);
    auto other = request.coil;
    other.secondary.turns += 20;
    request.secondary = read_back({.frequency_hz = request.secondary.resonance->value, .description = other}, "o.json");
    EXPECT_NE(remark(tuned(request), "other-coil"), nullptr);
    request.secondary = read_back({.frequency_hz = request.secondary.resonance->value, .description = {}}, "n.json");
    ASSERT_NE(remark(tuned(request), "top-load-unknown"), nullptr);
    EXPECT_EQ(remark(tuned(request), "top-load-unknown")->weight, measure::Weight::note);
}

TEST(TuneContradictions, ResultsOfTheWrongKindAreRefused) {
    TuneRequest request = meeting_at(9);
    std::swap(request.secondary, *request.primary);
    EXPECT_EQ(tuning::tune(request).error().kind, ErrorKind::usage);
    request = meeting_at(9);
    request.taps.push_back({8, *request.primary});
    EXPECT_THAT(tuning::tune(request).error().message, HasSubstr("given twice"));
    request = meeting_at(9);
    request.coil.tank.reset();
    EXPECT_EQ(tuning::tune(request).error().kind, ErrorKind::bad_input);
    // A rejected measurement never gets as far.
    WrittenResult bad{.frequency_hz = 1e5};
    bad.findings = {{measure::FindingCode::clipped, measure::Weight::reject, "clipped"}};
    const auto refused = measure::parse_any_result(test::written(bad), "bad.json");
    ASSERT_FALSE(refused.ok());
    EXPECT_EQ(refused.error().kind, ErrorKind::rejected);
}

}  // namespace
}  // namespace coldtune
