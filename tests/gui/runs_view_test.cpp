// Runs and their plot, driven without a screen: overlaid, compared, hidden, deleted, looked at closely.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "tests/gui/headless_window.hpp"
#include "tests/gui/window_benches.hpp"

namespace coldtune::gui {
namespace {

TEST(WindowRuns, RunsAreOverlaidComparedHiddenAndDeleted) {
    HeadlessWindow w;
    ASSERT_TRUE(w.first_sweep());
    w.app().act({Do::set_field, "topload.0.outer_diameter", "500mm", 0, false});
    ASSERT_TRUE(w.settle());
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 2U);
    EXPECT_EQ(w.state().selected_run, 2);
    w.press('C');
    EXPECT_EQ(w.state().compare_run, 1);
    ASSERT_TRUE(w.settle());
    const auto measured = [&] {
        std::size_t n = 0;
        for (const PlotCurve& c : w.app().scene().panes[0].curves) n += c.look == CurveLook::measured ? 1 : 0;
        return n;
    };
    EXPECT_EQ(measured(), 2U);
    w.frames();
    w.click("legend.1");
    EXPECT_FALSE(w.state().run(1)->shown);
    EXPECT_EQ(measured(), 1U);
    w.click("run.1");
    EXPECT_EQ(w.state().selected_run, 1);
    w.click("run.note");
    w.type("bare");
    EXPECT_EQ(w.state().run(1)->note, "bare");
    w.press(key::escape);
    w.press(key::del);
    EXPECT_EQ(w.state().runs.size(), 1U);
    EXPECT_EQ(w.state().selected_run, 2);
    EXPECT_FALSE(w.state().compare_run);
}

TEST(WindowRuns, RunsOfAnotherHookupStepBack) {
    HeadlessWindow w;
    ASSERT_TRUE(w.first_sweep());
    w.app().act(action(Do::set_hookup, std::string("tank")));
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 2U) << w.state().complaint;
    EXPECT_FALSE(w.state().run(1)->shown);
    EXPECT_TRUE(w.state().run(2)->shown);
    EXPECT_EQ(w.state().pair, PlotPair::impedance);
    // The simulated tank: 60 uH and 100 nF, the undamped 1 / (2 pi sqrt(LC)); 0.2 % as for every sweep without
    // standards.
    const auto* r = w.state().run(2)->result.resonance();
    ASSERT_NE(r, nullptr);
    EXPECT_TRUE(w.state().run(2)->fitted);
    EXPECT_NEAR(r->frequency_hz / (1 / (2 * M_PI * std::sqrt(60e-6 * 100e-9))), 1, 0.002);
    // The secondary's calculated value has no business beside it.
    EXPECT_FALSE(w.state().run(2)->result.difference_percent());
    EXPECT_EQ(w.app().scene().marks.size(), 1U);
}

TEST(WindowRuns, AResonanceAboveTheBandIsShownWithWhatWasHeard) {
    HeadlessWindow w;
    w.app().act(action(Do::set_rate, 96000.0));
    ASSERT_TRUE(w.settle());
    EXPECT_THAT(w.state().calculation.advice, ::testing::HasSubstr("below-band"));
    w.press(key::f4);
    w.press(key::space);
    ASSERT_TRUE(w.first_sweep());
    ASSERT_EQ(w.state().runs.size(), 1U) << w.state().complaint;
    const auto* r = w.state().runs[0].result.resonance();
    ASSERT_NE(r, nullptr);
    EXPECT_EQ(r->way, measure::Way::below_band);
    EXPECT_FALSE(r->q) << "no Q is known from below the band";
    // Beyond the band there is the fitted curve alone, and it is drawn as one.
    ASSERT_TRUE(w.state().runs[0].fitted);
    for (const PlotCurve& c : w.app().scene().panes[0].curves) {
        if (c.look == CurveLook::measured) {
            EXPECT_LT(c.data->x.back(), 48000) << "half the rate";
        }
    }
    const Range shown = w.state().view.x.range;
    EXPECT_LT(shown.low, w.state().runs[0].measured->frequency_hz.back());
    EXPECT_GT(shown.high, r->frequency_hz);
}

// Curve and mark are both of the coil as it stands, whatever run is looked at.
TEST(WindowRuns, TheCalculatedMarkStandsOnTheCalculatedCurve) {
    HeadlessWindow w;
    ASSERT_TRUE(w.first_sweep());
    EXPECT_FALSE(w.app().scene().difference.empty());
    w.app().act(action(Do::set_standing, static_cast<double>(Standing::bare)));
    ASSERT_TRUE(w.settle());
    const PlotScene& scene = w.app().scene();
    ASSERT_GE(scene.marks.size(), 1U);
    EXPECT_DOUBLE_EQ(scene.marks[0].frequency_hz, w.state().calculation.value->frequency_hz);
    EXPECT_TRUE(scene.difference.empty()) << "the run was compared with another coil";
    const auto calculated = std::find_if(scene.panes[0].curves.begin(), scene.panes[0].curves.end(),
                                         [](const PlotCurve& c) { return c.look == CurveLook::calculated; });
    ASSERT_NE(calculated, scene.panes[0].curves.end());
    const CurveData& curve = *calculated->data;
    const auto peak = std::max_element(curve.y.begin(), curve.y.end()) - curve.y.begin();
    // Loss and the stray capacitance at the foot move the peak of the admittance by far less than the 40 % between the
    // coil with its top load and the bare one.
    EXPECT_NEAR(curve.x[static_cast<std::size_t>(peak)] / scene.marks[0].frequency_hz, 1, 0.01);
}

TEST(WindowRuns, ThePlotFollowsTheMouse) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.frames();
    const Rect pane = w.place("pane.0");
    const auto hertz_at = [&](float x) { return PaneMap(pane, w.state().view.x, w.state().view.y[0]).x_value(x); };
    const Point p{pane.left + pane.width() * 0.3F, pane.centre().y};
    const double under = hertz_at(p.x);
    const Range before = w.state().view.x.range;
    w.wheel(p, 3);
    EXPECT_LT(w.state().view.x.range.high - w.state().view.x.range.low, before.high - before.low);
    EXPECT_NEAR(hertz_at(p.x) / under, 1, 1e-4);

    w.drag(p, {p.x + 100, p.y});
    EXPECT_NEAR(hertz_at(p.x + 100) / under, 1, 1e-4) << "what was under the pointer moves with it";

    const double left = hertz_at(pane.left + 100), right = hertz_at(pane.left + 300);
    w.drag({pane.left + 100, pane.top + 20}, {pane.left + 300, pane.bottom - 20}, 1);
    EXPECT_NEAR(w.state().view.x.range.low / left, 1, 1e-4);
    EXPECT_NEAR(w.state().view.x.range.high / right, 1, 1e-4);

    const double here = hertz_at(p.x);
    w.click(p);
    ASSERT_TRUE(w.state().view.cursor_a);
    EXPECT_NEAR(w.state().view.cursor_a->frequency_hz / here, 1, 1e-4);
    w.frames();
    EXPECT_TRUE(w.has("cursor.readout"));
    w.press('X');
    EXPECT_FALSE(w.state().view.cursor_a);
    w.press(key::home);
    EXPECT_NEAR(w.state().view.x.range.high / w.state().view.x.home.high, 1, 1e-9);
    w.press('L');
    EXPECT_EQ(w.state().view.x.scale, Scale::logarithmic);
    for (int k = 0; k < kPlotPairs; ++k) {
        w.press('Q');
        w.frames();
        EXPECT_TRUE(w.has("pane.1"));
    }
}

}  // namespace
}  // namespace coldtune::gui
