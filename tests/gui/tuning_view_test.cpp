// The tuning step without a screen: the whole road on the simulated bench, and measurements that do not belong
// together.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "analyzer/model/coupled_pair.hpp"
#include "analyzer/model/tank.hpp"
#include "tests/gui/headless_window.hpp"
#include "tests/gui/window_benches.hpp"
#include "tests/support/scratch_folder.hpp"
#include "tests/support/written_result.hpp"

namespace coldtune::gui {
namespace {

using ::testing::HasSubstr;

CoilForm whole_form() {
    CoilForm form = first_form();
    form.has[CoilPart::primary] = form.has[CoilPart::tank] = true;
    form.text["tank.tap_turns"] = "10";
    return form;
}

const TuningOutcome& outcome(const HeadlessWindow& w) {
    return *w.state().tuning.outcome;
}

tuning::Step::State state_of(const HeadlessWindow& w, std::string_view key) {
    for (const tuning::Step& s : outcome(w).steps) {
        if (s.key == key) return s.state;
    }
    ADD_FAILURE() << "no step " << key;
    return tuning::Step::State::left;
}

// From the tuning step, with the keys: wire for what comes next, go and sweep, come back.
void measure_next(HeadlessWindow& w) {
    w.press(key::f7);
    w.press('M');
    w.press(key::f5);
    w.press(key::space);
    ASSERT_TRUE(w.settle()) << w.state().complaint;
    w.press(key::f7);
    ASSERT_TRUE(w.settle());
}

Remembered with(CoilForm coil, TuningForm tuning) {
    Remembered remembered;
    remembered.document.form = std::move(coil);
    remembered.tuning = std::move(tuning);
    return remembered;
}

void measure(HeadlessWindow& w, std::string_view place) {
    w.app().act(action(Do::measure_place, std::string(place)));
    w.press(key::f5);
    w.press(key::space);
    ASSERT_TRUE(w.settle()) << w.state().complaint;
    w.press(key::f7);
    ASSERT_TRUE(w.settle());
}

TEST(TuningWindow, LeadsFromTheBareCoilToAVerifiedTune) {
    HeadlessWindow w;
    w.app().restore(with(whole_form(), {}));
    ASSERT_TRUE(w.settle());
    const double true_hz = true_resonance(w.state());
    w.press(key::f7);
    w.frames();
    EXPECT_EQ(w.state().step, Step::tuning);
    EXPECT_EQ(state_of(w, "describe"), tuning::Step::State::done);
    EXPECT_EQ(state_of(w, "bare"), tuning::Step::State::worthwhile);
    EXPECT_EQ(state_of(w, "secondary"), tuning::Step::State::left);
    EXPECT_FALSE(outcome(w).tune);
    EXPECT_FALSE(w.has("tuning.axis")) << "nothing to draw yet";

    // Without the top load: the description stays, the coil on the bench is the bare one.
    w.click("measure.bare");
    EXPECT_EQ(w.state().step, Step::wiring);
    EXPECT_EQ(w.state().bench.standing(), Standing::bare);
    w.press(key::f5);
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 1U) << w.state().complaint;
    EXPECT_TRUE(w.state().runs[0].result.description->topload.empty());
    EXPECT_EQ(w.state().reading.coil->topload.size(), 1U);
    EXPECT_EQ(state_of(w, "bare"), tuning::Step::State::done);

    measure_next(w);
    EXPECT_EQ(w.state().bench.standing(), Standing::described);
    EXPECT_EQ(state_of(w, "secondary"), tuning::Step::State::done);
    measure_next(w);
    EXPECT_EQ(w.state().bench.hookup, bench::Hookup::tank);
    ASSERT_TRUE(outcome(w).tune) << outcome(w).tune_complaint;
    ASSERT_TRUE(outcome(w).tune->tuning);
    const tuning::Tuning first = *outcome(w).tune->tuning;
    // Without standards the design allows 0.2 %; 3 % is the allowance.
    EXPECT_NEAR(first.target_hz.value / (0.97 * true_hz), 1, 0.002);
    EXPECT_EQ(outcome(w).tune->outcome(), tuning::Outcome::move_tap);
    EXPECT_DOUBLE_EQ(first.tank_turns, 10);
    EXPECT_EQ(state_of(w, "set-tap"), tuning::Step::State::left);
    EXPECT_TRUE(w.has("tuning.axis"));
    EXPECT_TRUE(w.has("tuning.lines"));

    // The tap goes where it is advised, and the tank of the bench, whose inductance, capacitor and leads are not quite
    // the described ones, rings within 0.5 % of the target: the figure of the issue for one measured tap.
    w.press('G');
    ASSERT_TRUE(w.settle());
    EXPECT_NEAR(std::stod(w.state().coil.text.at("tank.tap_turns")), first.advice->turns.value, 0.0051);
    w.press(key::f5);
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(outcome(w).tune && outcome(w).tune->tuning);
    const tuning::Tuning& second = *outcome(w).tune->tuning;
    EXPECT_LT(std::abs(second.mismatch.value), 0.005);
    EXPECT_EQ(second.taps.size(), 2U);
    EXPECT_EQ(outcome(w).tune->outcome(), tuning::Outcome::tuned);
    EXPECT_EQ(state_of(w, "verify"), tuning::Step::State::done);
    EXPECT_EQ(state_of(w, "before-power"), tuning::Step::State::left) << "nothing here can see it";
    w.press(key::f7);
    w.frames();
    EXPECT_TRUE(w.has("reminders"));

    // What the top load adds: every capacitance of the bench is 1.02 times the model's.
    ASSERT_TRUE(outcome(w).compare && outcome(w).compare->added && outcome(w).compare->calculated);
    const tuning::Capacitance& added = *outcome(w).compare->added;
    EXPECT_LE(std::abs(added.value_f - 1.02 * outcome(w).compare->calculated->value_f), added.u95_f);
    // The list of runs compares the same two and says the same.
    w.press(key::f5);
    w.app().act(action(Do::select_run, 2.0));
    w.app().act(action(Do::compare_run, 1.0));
    EXPECT_TRUE(w.state().comparison.pending) << "worked out beside the drawing thread";
    ASSERT_TRUE(w.settle());
    const auto& compared = w.state().comparison.outcome;
    ASSERT_TRUE(compared && compared->compare && compared->compare->added) << (compared ? compared->complaint : "");
    EXPECT_NEAR(compared->compare->added->value_f / added.value_f, 1, 1e-9);
    EXPECT_DOUBLE_EQ(compared->compare->shift->shift_hz, outcome(w).compare->shift->shift_hz);
    EXPECT_TRUE(w.has("comparison"));
    w.app().act(action(Do::select_run, 4.0));
    w.app().act(action(Do::compare_run, 3.0));
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(w.state().comparison.outcome && w.state().comparison.outcome->tank_shift);
    const auto hz = [&](int run) { return w.state().run(run)->result.resonance()->frequency_hz; };
    EXPECT_NEAR(w.state().comparison.outcome->tank_shift->shift_hz, hz(4) - hz(3), 1e-6);

    // Another top load in its place, from the measured coil.
    w.press(key::f7);
    w.press('V');
    EXPECT_EQ(w.state().tuning.view, TuningView::top_load);
    w.app().act(action(Do::set_instead, std::string("sphere")));
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(outcome(w).compare && outcome(w).compare->instead);
    const double sphere_hz = outcome(w).compare->instead->frequency_hz;
    EXPECT_GT(sphere_hz, outcome(w).compare->loaded.resonance->value) << "a small sphere loads less than the toroid";
    EXPECT_LT(sphere_hz, outcome(w).compare->bare.resonance->value);
    w.frames();
    EXPECT_TRUE(w.has("instead.figure"));

    // Both circuits together, and what the gap will do with them.
    measure(w, place::both);
    EXPECT_EQ(w.state().bench.standing(), Standing::tank_closed);
    ASSERT_TRUE(outcome(w).spark) << outcome(w).spark_complaint << w.state().complaint;
    const auto pair = model::make_coupled_pair(*w.state().reading.coil);
    ASSERT_TRUE(pair.ok());
    // The bench's tank has more inductance than the described one and the same mutual inductance (ports.cpp).
    const double described_h =
        model::tank_inductance_h(*w.state().reading.coil->primary, *w.state().reading.coil->tank);
    const double true_k = pair->two_modes().coupling / std::sqrt(1.015 + 0.15e-6 / described_h);
    EXPECT_NEAR(outcome(w).spark->inputs.value.k / true_k, 1, 0.02) << "the figure of the issue for k";
    const auto* transfer = outcome(w).spark->exchange.first_transfer();
    ASSERT_NE(transfer, nullptr);
    // Half a period of the beat of the split frequencies (Oberbeck 1895, from memory); losses and detuning move it by
    // less than a per cent here.
    const auto& split = outcome(w).spark->exchange.split;
    EXPECT_NEAR(transfer->time_s * 2 * (split[1].frequency_hz - split[0].frequency_hz), 1, 0.01);
    EXPECT_TRUE(outcome(w).spark->limit_by_capacitance);
    const double pair_k = outcome(w).spark->inputs.value.k;
    EXPECT_TRUE(outcome(w).spark_remarks.empty()) << outcome(w).spark_remarks.front().text;
    w.press('V');
    w.frames();
    EXPECT_TRUE(w.has("spark.picture"));
    EXPECT_TRUE(w.has("spark.exchanges"));
    EXPECT_FALSE(w.has("tuning.axis"));
    // Should the tank stand elsewhere than when both were measured, that is said.
    w.app().act({Do::tap_stands_here, "tap.0", {}, 0, false});
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(outcome(w).spark_remarks.size(), 1U);
    EXPECT_EQ(outcome(w).spark_remarks.front().code, "other-tap");
    w.app().act({Do::tap_stands_here, "tap.0", {}, 0, false});

    // The other way to k: the winding with the primary open, then shorted; each circuit by itself.
    w.app().act({Do::place_nothing, "both", {}, 0, false});
    measure(w, place::coupling);
    EXPECT_EQ(w.state().tuning.form.places.count("inductance"), 1U) << "the open one comes first";
    EXPECT_FALSE(outcome(w).spark);
    measure(w, place::coupling);
    ASSERT_TRUE(outcome(w).spark) << outcome(w).spark_complaint << w.state().complaint;
    EXPECT_THAT(outcome(w).spark->inputs.sources.back(), HasSubstr("k from Run"));
    EXPECT_NEAR(outcome(w).spark->inputs.value.k / pair_k, 1, 0.02) << "the figure of the issue for k";
}

// A tune as it lies in the settings: results as written, and no sweep needed.
TuningForm kept_form(const model::CoilDescription& coil, double secondary_hz, double tank_hz) {
    TuningForm form;
    form.places["secondary"] = {"Run 1", test::written({.frequency_hz = secondary_hz, .description = coil}), false};
    form.taps.push_back(
        {{"Run 2", test::written({.hookup = bench::Hookup::tank, .frequency_hz = tank_hz, .description = coil}), false},
         ""});
    return form;
}

class KeptTune : public ::testing::Test {
protected:
    void begin(const TuningForm& remembered) {
        w.app().restore(with(whole_form(), remembered));
        ASSERT_TRUE(w.settle());
        w.press(key::f7);
        w.frames();
    }
    model::CoilDescription coil = *read(whole_form()).coil;
    double tank_hz = model::calculate_tank(coil)->frequency_hz;
    double secondary_hz = 0.9 * tank_hz;  // so that the tap has to go out, and can
    TuningForm form = kept_form(coil, secondary_hz, tank_hz);
    HeadlessWindow w;
};

TEST_F(KeptTune, SaysWhatIsDoneAndWhatIsLeftOnAnotherDay) {
    begin(form);
    ASSERT_TRUE(outcome(w).tune) << outcome(w).tune_complaint;
    EXPECT_EQ(outcome(w).tune->outcome(), tuning::Outcome::move_tap);
    EXPECT_GT(outcome(w).tune->tuning->advice->move_turns, 0);
    EXPECT_EQ(outcome(w).tap_turns, std::vector<double>{10}) << "as its own description says";
    EXPECT_EQ(state_of(w, "secondary"), tuning::Step::State::done);
    EXPECT_EQ(state_of(w, "second-tap"), tuning::Step::State::worthwhile);
}

TEST_F(KeptTune, TheAllowanceMovesTheTarget) {
    begin(form);
    w.click("tuning.allowance");
    w.type("5%");
    w.press(key::enter);
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(outcome(w).tune && outcome(w).tune->tuning);
    EXPECT_NEAR(outcome(w).tune->tuning->target_hz.value / (0.95 * secondary_hz), 1, 1e-12);
    w.app().act({Do::set_field, "tuning.allowance", "some", 0, false});
    ASSERT_TRUE(w.settle());
    EXPECT_TRUE(w.state().tuning.reading.complaints.contains("allowance"));
    EXPECT_FALSE(outcome(w).tune) << "no target, no advice";
    w.app().act({Do::set_field, "tuning.allowance", "30%", 0, false});
    ASSERT_TRUE(w.settle());
    EXPECT_THAT(outcome(w).tune_complaint, HasSubstr("between 0 and 20 %"));
}

TEST_F(KeptTune, AnotherTopLoadThanTheDescribedIsSaidAndNothingIsReckoned) {
    begin(form);
    w.app().act({Do::set_field, "topload.0.outer_diameter", "450mm", 0, false});
    ASSERT_TRUE(w.settle());
    w.frames();
    ASSERT_TRUE(outcome(w).tune);
    EXPECT_EQ(outcome(w).tune->outcome(), tuning::Outcome::rejected);
    EXPECT_FALSE(outcome(w).tune->tuning);
    EXPECT_THAT(outcome(w).tune->remarks.front().text, HasSubstr("toroid 600 mm by 150 mm"));
    EXPECT_EQ(state_of(w, "secondary"), tuning::Step::State::again);
    for (const char* shown : {"tuning.axis", "tuning.lines", "tap.moved"}) EXPECT_FALSE(w.has(shown)) << shown;
    w.press('G');  // there is no advice to follow
    EXPECT_EQ(w.state().coil.text.at("tank.tap_turns"), "10");
    w.press('Z', true);
    ASSERT_TRUE(w.settle());
    EXPECT_EQ(outcome(w).tune->outcome(), tuning::Outcome::move_tap);
}

TEST_F(KeptTune, AStaleCorrectionAndAnotherReferenceComeAlongAsFindings) {
    form.places["secondary"].written =
        test::written({.frequency_hz = secondary_hz,
                       .description = coil,
                       .reference_ohm = 10e3,
                       .noted_reference_ohm = 1e3,
                       .findings = {{measure::FindingCode::correction_stale, measure::Weight::caution, "stale"}}});
    begin(form);
    ASSERT_TRUE(outcome(w).tune);
    std::vector<std::string> codes;
    for (const auto& r : outcome(w).tune->remarks) codes.push_back(r.code);
    EXPECT_THAT(codes, ::testing::IsSupersetOf({"other-reference", "correction-stale"}));
    EXPECT_TRUE(outcome(w).tune->tuning) << "a caution is no refusal";
}

TEST_F(KeptTune, SaysHowFarOutOfReachTheTargetLies) {
    model::CoilDescription whole = coil;
    whole.tank->tap_turns.reset();
    const double lowest = model::calculate_tank(whole)->frequency_hz;
    form = kept_form(coil, 0.9 * lowest / 0.97, tank_hz);
    begin(form);
    ASSERT_TRUE(outcome(w).tune && outcome(w).tune->tuning && outcome(w).tune->tuning->out_of_reach);
    EXPECT_EQ(outcome(w).tune->outcome(), tuning::Outcome::change_capacitor);
    EXPECT_NEAR(outcome(w).tune->tuning->out_of_reach->by_relative, 0.1, 1e-3);
    EXPECT_TRUE(w.has("tuning.axis"));
}

TEST_F(KeptTune, TakesAKeptResultFromAFileByHand) {
    const coldtune::testing::ScratchFolder folder;
    const auto path = folder.put("s.json", form.places["secondary"].written);
    form.places.clear();
    begin(form);
    EXPECT_FALSE(outcome(w).tune);
    w.click("place.secondary");
    w.frames();
    w.click("place.secondary.1");  // "A kept result ..."
    w.frames();
    w.click("place.path.secondary");
    w.type(path.string());
    w.click("place.take.secondary");
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(outcome(w).tune) << outcome(w).tune_complaint;
    EXPECT_EQ(outcome(w).request->secondary.name, path.string());

    w.app().act({Do::place_file, "secondary", (folder / "none.json").string(), 0, false});
    ASSERT_TRUE(w.settle());
    EXPECT_THAT(outcome(w).complaints.at("secondary"), HasSubstr("none.json"));
    EXPECT_FALSE(outcome(w).tune);
    w.app().act({Do::place_nothing, "secondary", {}, 0, false});
    ASSERT_TRUE(w.settle());
    EXPECT_TRUE(outcome(w).complaints.empty());
}

TEST_F(KeptTune, ATapCountsWhereItWasAndTheChosenOneIsHowTheTankStands) {
    form.taps.push_back(
        {{"Run 3", test::written({.hookup = bench::Hookup::tank, .frequency_hz = 0.99 * tank_hz}), false}, ""});
    begin(form);
    EXPECT_THAT(outcome(w).complaints.at("tap.1"), HasSubstr("turns")) << "it was analysed without a description";
    w.app().act({Do::set_field, "tuning.tap.1", "10.1", 0, false});
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(outcome(w).tune && outcome(w).tune->tuning);
    EXPECT_DOUBLE_EQ(outcome(w).tune->tuning->tank_turns, 10.1);
    w.resize({1280, 2000}, 1);  // all of the sequence in view
    w.frames();
    w.click("tap.here.0");
    ASSERT_TRUE(w.settle());
    EXPECT_DOUBLE_EQ(outcome(w).tune->tuning->tank_turns, 10);
    EXPECT_EQ(w.state().tuning.form.taps.front().turns, "10.1");
}

// Nothing runs out of the window or into its neighbour, whatever its size and that of the letters.
TEST_F(KeptTune, FitsEverySizeAndScale) {
    model::CoilDescription bare = coil;
    bare.topload.clear();
    form.places["bare"] = {"Run 3", test::written({.frequency_hz = 1.5 * secondary_hz, .description = bare}), false};
    set_instead(form, "toroid");
    begin(form);
    for (const ImVec2 size : {ImVec2{1024, 700}, ImVec2{2560, 1440}}) {
        for (const float scale : {1.0F, 2.0F, 2.5F}) {
            w.resize(size, scale);
            for (int view = 0; view < kTuningViews; ++view) {
                w.app().act(action(Do::tuning_view, static_cast<double>(view)));
                w.frames(4);
                const std::string where = std::to_string(view) + " at scale " + std::to_string(scale);
                for (const auto& [name, r] : w.places()) {
                    EXPECT_GE(r.left, -0.5F) << name << ", view " << where;
                    EXPECT_LE(r.right, size.x + 0.5F) << name << ", view " << where;
                }
                EXPECT_TRUE(w.has("readout") && w.has("sequence.before-power")) << where;
                if (w.has("outcome")) {
                    EXPECT_LE(w.place("left").right, w.place("outcome").left) << where;
                    EXPECT_LE(w.place("outcome").bottom, w.place("status").top + 1) << where;
                }
            }
        }
    }
}

}  // namespace
}  // namespace coldtune::gui
