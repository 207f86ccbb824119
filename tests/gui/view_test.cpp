// The window without a screen: a hand on mouse and keys, the simulated bench behind it, and what comes of it.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <set>
#include <thread>

#include "analyzer/bench/bench.hpp"
#include "tests/gui/headless_window.hpp"
#include "tests/gui/window_benches.hpp"
#include "tests/support/patience.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::gui {
namespace {

TEST(Window, OpensOnACoilThatIsCalculated) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(w.state().calculation.value);
    EXPECT_FALSE(w.state().calculation.advice.empty());
    EXPECT_FALSE(w.app().scene().panes[0].curves.empty());
    EXPECT_TRUE(w.has("readout"));
    EXPECT_TRUE(w.has("picture"));
}

TEST(Window, TypingInAFieldChangesTheCalculationAndUndoTakesItBack) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    const double before = w.state().calculation.value->frequency_hz;
    w.click("secondary.turns");
    w.type("1250");
    EXPECT_EQ(w.state().coil.text.at("secondary.turns"), "1250");
    ASSERT_TRUE(w.settle());
    // Half the turns, a quarter of the inductance: twice the frequency, within what the wire's own corrections do.
    EXPECT_NEAR(w.state().calculation.value->frequency_hz / before, 2, 0.03);
    w.press(key::enter);
    w.click("undo");
    EXPECT_EQ(w.state().coil.text.at("secondary.turns"), "2500");
    w.press('Y', true);
    EXPECT_EQ(w.state().coil.text.at("secondary.turns"), "1250");
    w.press('Z', true);
    ASSERT_TRUE(w.settle());
    EXPECT_DOUBLE_EQ(w.state().calculation.value->frequency_hz, before);
}

TEST(Window, SlidersMoveTheCoil) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    const double before = w.state().calculation.value->frequency_hz;
    const Rect slider = w.place("slide.topload.0.outer_diameter");
    w.drag(slider.centre(), {slider.left + slider.width() * 0.6F, slider.centre().y});
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(w.state().reading.coil);
    EXPECT_GT(w.state().calculation.value->frequency_hz, before);  // a smaller top load, a higher resonance
    w.press('Z', true);
    EXPECT_EQ(w.state().coil.text.at("topload.0.outer_diameter"), "600mm") << "one drag is one step back";
}

TEST(Window, AFieldThatCannotBeReadSaysSoAndStopsTheSweep) {
    HeadlessWindow w;
    w.click("secondary.turns");
    w.type("twelve");
    EXPECT_TRUE(w.state().reading.complaints.contains("secondary.turns"));
    EXPECT_FALSE(w.state().calculation.value);
    w.press(key::f5);
    w.press(key::space);
    EXPECT_FALSE(w.state().busy());
    EXPECT_THAT(w.state().complaint, ::testing::HasSubstr("step 1"));
}

TEST(Window, WhatDoesNotFitIsSaidInWordsAndLeadsToItsField) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    // Far down the form, out of sight while its beginning is looked at.
    w.app().act({Do::set_part, {}, "on", static_cast<double>(CoilPart::primary), true});
    w.app().act({Do::set_part, {}, "on", static_cast<double>(CoilPart::tank), true});
    ASSERT_TRUE(w.settle());
    w.frames();
    const Rect picture = w.place("picture"), below = w.place("secondary.temperature");
    w.app().act({Do::set_field, "tank.lead_inductance", "9.5H", 0, false});
    w.app().act({Do::set_field, "secondary.wire", "0.25mm", 0, false});
    w.frames();
    ASSERT_TRUE(w.state().reading.complaints.contains("tank.lead_inductance"));
    ASSERT_TRUE(w.has("complaint.tank.lead_inductance"));
    EXPECT_TRUE(w.has("picture.before")) << "the last good coil stays in sight";
    // Nothing moved under the pointer.
    EXPECT_EQ(w.place("picture").top, picture.top);
    EXPECT_EQ(w.place("secondary.temperature").top, below.top);
    const Rect form = w.place("left");
    EXPECT_GT(w.place("tank.lead_inductance").top, form.bottom) << "not in view";
    w.click("goto.tank.lead_inductance");
    w.frames();
    EXPECT_GT(w.place("tank.lead_inductance").top, form.top);
    EXPECT_LT(w.place("tank.lead_inductance").bottom, form.bottom);
    // And it has the keyboard.
    w.type("1uH");
    EXPECT_EQ(w.state().coil.text.at("tank.lead_inductance"), "1uH");
    EXPECT_TRUE(w.state().reading.coil);
    w.frames();
    EXPECT_FALSE(w.has("picture.before"));
}

// Someone who clicks beside a field and types on must not set off a sweep or delete a run.
TEST(Window, KeysThatActAloneRestInAForm) {
    HeadlessWindow w(usual_ports(1));
    ASSERT_TRUE(w.settle());
    w.press(key::f3);
    w.click("bench.reference");
    w.type("22k");
    const Rect form = w.place("left");
    const Point beside{form.left + 5, form.centre().y};
    w.click(beside);
    for (int k : {static_cast<int>('W'), static_cast<int>('E'), static_cast<int>('F'), key::space}) {
        w.press(k);
        EXPECT_FALSE(w.state().busy()) << k;
        EXPECT_EQ(w.state().step, Step::wiring) << k;
    }
    w.press(key::escape);
    w.press('E');
    EXPECT_TRUE(w.state().busy()) << "Escape leaves the form";
    // What runs is stopped wherever the hand is.
    w.click(beside);
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    w.press(key::space);
    EXPECT_FALSE(w.state().busy());
    w.click(w.place("picture").centre());
    w.press('W');
    EXPECT_TRUE(w.state().busy()) << "a click outside leaves it";
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    // A choice from a list, a button: neither is a text.
    w.click(beside);
    w.click("bench.hookup");
    w.click("bench.hookup.0");
    w.press(key::space);
    EXPECT_TRUE(w.state().busy());
    w.press(key::space);
    ASSERT_TRUE(w.settle());
}

TEST(Window, TheSpaceBarSweepsAndTheResultIsTheCoilsOwn) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.press(key::space);
    EXPECT_TRUE(w.state().busy());
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 1U);
    const gui::Run& run = w.state().runs[0];
    const auto* r = run.result.resonance();
    ASSERT_NE(r, nullptr) << w.state().complaint;
    // Without standards the design allows 0.2 %.
    EXPECT_NEAR(r->frequency_hz / true_resonance(w.state()), 1, 0.002);
    // The bench's own Q is 130; without standards the resistor may be 1 % off and the gains 2 %.
    EXPECT_NEAR(*r->q / 130, 1, 0.03);
    ASSERT_TRUE(run.fitted);
    EXPECT_GT(run.measured->frequency_hz.size(), 1000U);

    const PlotScene& scene = w.app().scene();
    ASSERT_EQ(scene.marks.size(), 2U);
    EXPECT_DOUBLE_EQ(scene.marks[1].frequency_hz, r->frequency_hz);
    EXPECT_THAT(scene.difference, ::testing::HasSubstr("below calculated"));
    // Both marks are in view.
    for (const PlotMark& m : scene.marks) {
        EXPECT_GT(m.frequency_hz, w.state().view.x.range.low);
        EXPECT_LT(m.frequency_hz, w.state().view.x.range.high);
    }
}

TEST(Window, EachStandardSaysWhatItWouldImproveNow) {
    HeadlessWindow w;
    ASSERT_TRUE(w.first_sweep());
    const auto asked = std::chrono::steady_clock::now();
    while (w.state().runs.empty() || w.state().runs[0].gains.empty()) {
        w.frames();
        ASSERT_LT(std::chrono::steady_clock::now() - asked, testing::kPatience * std::chrono::seconds(30));
    }
    ASSERT_EQ(w.state().runs[0].gains.size(), 3U);
    const auto& open = w.state().runs[0].gains[0];
    EXPECT_EQ(open.standard, bench::Hookup::open);
    EXPECT_LT(open.frequency_u95_hz, w.state().runs[0].result.resonance()->frequency_u95_hz);
    w.press(key::f4);
    w.frames();
    for (const char* name : {"gain.open", "gain.short", "gain.load"}) EXPECT_TRUE(w.has(name)) << name;
}

TEST(Window, AStandardTakenByHandSharpensTheNextSweep) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f4);
    w.frames();
    w.click("standard.open");
    ASSERT_TRUE(w.settle());
    ASSERT_TRUE(w.state().standards.contains(bench::Hookup::open)) << w.state().complaint;
    w.press(key::space);  // the next missing one
    ASSERT_TRUE(w.settle());
    EXPECT_TRUE(w.state().standards.contains(bench::Hookup::short_circuit)) << w.state().complaint;
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    EXPECT_TRUE(w.state().standards.contains(bench::Hookup::load)) << w.state().complaint;
    w.press(key::f5);
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 1U);
    EXPECT_EQ(w.state().runs[0].standards, "open, short, load");
    const auto* r = w.state().runs[0].result.resonance();
    ASSERT_NE(r, nullptr);
    // With all three the design asks for 100 ppm and 1 %.
    EXPECT_NEAR(r->frequency_hz / true_resonance(w.state()), 1, 100e-6);
    EXPECT_NEAR(*r->q / 130, 1, 0.01);

    // Another rate describes another bench: its standards are not used there.
    w.app().act(action(Do::set_rate, 176400.0));
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 2U) << w.state().complaint;
    EXPECT_EQ(w.state().runs[1].standards, "");
}

TEST(Window, TheSpaceBarStopsAtOnceWhateverHasTheKeyboard) {
    HeadlessWindow w(usual_ports(1));  // as slow as a real sweep
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.press(key::space);
    ASSERT_TRUE(w.state().busy());
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    w.press(key::f2);
    w.frames();
    w.click("coil.name");
    w.type("x");
    ASSERT_TRUE(w.state().busy());
    EXPECT_EQ(w.state().coil.name, first_form().name) << "the description stands still while it is measured";
    const auto asked = std::chrono::steady_clock::now();
    w.press(key::space);
    ASSERT_TRUE(w.settle(10));
    // The port itself goes silent within 50 ms; the rest is for the loaded machine a test runs on.
    EXPECT_LT(std::chrono::steady_clock::now() - asked, testing::kPatience * std::chrono::seconds(2));
    EXPECT_TRUE(w.state().runs.empty());
    EXPECT_THAT(w.state().notice, ::testing::HasSubstr("Stopped"));
    // And the next one runs as if nothing had been.
    w.press(key::f5);
    w.press(key::space);
    EXPECT_TRUE(w.state().busy());
    w.press(key::space);
    ASSERT_TRUE(w.settle(10));
}

TEST(Window, ARejectedMeasurementShowsNoNumberAnywhere) {
    HeadlessWindow w(faulty([](bench::Bench& b) { b.faults.coil_input_dead = true; }));
    ASSERT_TRUE(w.first_sweep());
    ASSERT_EQ(w.state().runs.size(), 1U) << w.state().complaint;
    const gui::Run& run = w.state().runs[0];
    EXPECT_EQ(run.result.verdict(), measure::Verdict::rejected);
    EXPECT_FALSE(run.result.findings.empty());
    EXPECT_EQ(run.result.resonance(), nullptr);
    EXPECT_FALSE(run.fitted);
    for (const PlotMark& m : w.app().scene().marks)
        EXPECT_THAT(m.label, ::testing::Not(::testing::HasSubstr("measured")));
    EXPECT_TRUE(w.app().scene().difference.empty());
    w.press('U');  // there is no budget of nothing
    EXPECT_FALSE(w.state().budget_open);
}

TEST(Window, CautionsComeBeforeTheFirstSweepOnARealInterface) {
    HeadlessWindow w(lost());
    ASSERT_TRUE(w.settle());
    w.app().act(action(Do::list_devices));
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().devices.size(), 1U);
    w.app().act(action(Do::set_device, std::string("Field box")));
    EXPECT_DOUBLE_EQ(w.state().bench.sample_rate_hz, 96000) << "its highest rate, since it has no 192 kHz";
    w.press(key::f5);
    w.press(key::space);
    EXPECT_FALSE(w.state().busy());
    ASSERT_TRUE(w.state().cautions_open);
    w.frames();
    w.click("cautions.close");
    EXPECT_FALSE(w.state().cautions_acknowledged);
    w.press(key::space);
    w.frames();
    w.click("cautions.accept");
    EXPECT_TRUE(w.state().cautions_acknowledged);
    ASSERT_TRUE(w.settle());
    EXPECT_THAT(w.state().complaint, ::testing::HasSubstr("plug it in again"));
    EXPECT_TRUE(w.state().runs.empty());
    // Read again at any time, and nothing moves behind them.
    w.press(key::f6);
    EXPECT_TRUE(w.state().cautions_open);
    w.press(key::f2);
    EXPECT_TRUE(w.state().step == Step::sweep);
    w.press(key::f7);
    EXPECT_TRUE(w.state().step == Step::sweep);
    w.press(key::escape);
    EXPECT_FALSE(w.state().cautions_open);
}

TEST(Window, WhatWasRefusedIsForgottenWithItsCause) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.app().act({Do::set_field, "secondary.turns", "apples", 0, false});
    w.press(key::f5);
    w.press(key::space);
    EXPECT_FALSE(w.state().busy());
    w.frames();
    EXPECT_THAT(w.state().complaint, ::testing::HasSubstr("complete step 1 first"));
    w.app().act({Do::set_field, "secondary.turns", "2500", 0, false});
    w.frames();
    EXPECT_EQ(w.state().complaint, "");
}

TEST(Window, TheWiringCheckHearsWhatIsWrong) {
    HeadlessWindow good;
    ASSERT_TRUE(good.settle());
    good.press(key::f3);
    good.press(key::space);
    ASSERT_TRUE(good.settle());
    ASSERT_TRUE(good.state().wiring_check);
    EXPECT_TRUE(good.state().wiring_check->good);
    EXPECT_GT(good.state().coil_meter.held, 0.01);
    EXPECT_TRUE(good.state().runs.empty());
}

// What was heard was heard of the bench as it was.
TEST(Window, AChangedBenchTakesTheWiringCheckAway) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f3);
    const std::vector<Action> changes = {action(Do::set_standing, static_cast<double>(Standing::bare)),
                                         {Do::set_field, "bench.reference", "4k7", 0, false},
                                         action(Do::set_device, std::string("Another box"))};
    for (const Action& change : changes) {
        w.app().act(action(Do::check_wiring));
        ASSERT_TRUE(w.settle());
        ASSERT_TRUE(w.state().wiring_check) << w.state().complaint;
        w.app().act(change);
        EXPECT_FALSE(w.state().wiring_check) << command(change.what).name << " " << change.key;
        ASSERT_TRUE(w.settle());
    }
}

TEST(Window, TheSameBenchAgainKeepsTheWiringCheck) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.app().act(action(Do::check_wiring));
    ASSERT_TRUE(w.settle());
    w.app().act(action(Do::set_hookup, std::string("foot")));
    EXPECT_TRUE(w.state().wiring_check);
}

TEST(Window, TheWiringCheckHearsADeadInput) {
    HeadlessWindow dead(faulty([](bench::Bench& b) { b.faults.coil_input_dead = true; }));
    ASSERT_TRUE(dead.settle());
    dead.press(key::f3);
    dead.press('W');
    ASSERT_TRUE(dead.settle());
    ASSERT_TRUE(dead.state().wiring_check);
    EXPECT_FALSE(dead.state().wiring_check->good);
    EXPECT_FALSE(dead.state().wiring_check->findings.empty() && dead.state().wiring_check->complaint.empty());
}

TEST(Window, EveryKeyIsOneAndDoesItsWork) {
    std::set<std::tuple<int, bool>> chords;
    for (const Command& c : commands()) {
        if (c.chord) {
            EXPECT_TRUE(chords.insert({c.chord->key, c.chord->ctrl}).second) << c.name << " shares its key";
            EXPECT_FALSE(c.title.empty()) << c.name << " has a key but is not on the sheet";
        }
        EXPECT_EQ(command_named(c.name), &c) << c.name;
    }
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f1);
    EXPECT_TRUE(w.state().help_open);
    w.frames();
    EXPECT_TRUE(w.has("sheet.help"));
    w.press(key::escape);
    w.frames();
    EXPECT_FALSE(w.state().help_open);
    EXPECT_FALSE(w.has("sheet.help"));
    w.press('T', true);
    EXPECT_TRUE(w.state().dark);
    w.press(key::equal, true);
    EXPECT_DOUBLE_EQ(w.state().text_scale, 1.25);
    for (int k = 0; k < 20; ++k) w.press(key::equal, true);
    EXPECT_DOUBLE_EQ(w.state().text_scale, 2.5);
    w.press('Q', true);
    EXPECT_TRUE(w.state().quit);
}

TEST(Window, OpensAndSavesTheDescription) {
    const coldtune::testing::ScratchFolder folder;
    HeadlessWindow w;
    w.press('S', true);
    EXPECT_THAT(w.state().complaint, ::testing::HasSubstr("file's name"));
    const std::string path = (folder / "coil.json").string();
    w.app().act(action(Do::save_coil, path));
    EXPECT_THAT(w.state().notice, ::testing::HasSubstr(path));
    w.app().act({Do::set_field, "secondary.turns", "77", 0, false});
    w.press('O', true);  // the file it came from
    EXPECT_EQ(w.state().coil.text.at("secondary.turns"), "2500");
    w.app().act(action(Do::open_coil, (folder / "none.json").string()));
    EXPECT_THAT(w.state().complaint, ::testing::HasSubstr("none.json"));
    EXPECT_EQ(w.state().coil.text.at("secondary.turns"), "2500");
}

TEST(Window, SavesThePlot) {
    const coldtune::testing::ScratchFolder folder;
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.app().act(action(Do::save_svg, (folder / "plot.svg").string()));
    EXPECT_THAT(coldtune::testing::bytes_of(folder / "plot.svg"), ::testing::HasSubstr("calculated"));
    w.app().act(action(Do::save_svg, (folder / "no/such/plot.svg").string()));
    EXPECT_FALSE(w.state().complaint.empty());
    w.app().act(action(Do::save_png, (folder / "plot.png").string()));
    EXPECT_EQ(w.app().take_png_request(), folder / "plot.png");
    EXPECT_FALSE(w.app().take_png_request());
}

}  // namespace
}  // namespace coldtune::gui
