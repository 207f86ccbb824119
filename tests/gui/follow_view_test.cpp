// The window while it follows a resonance or listens to its inputs, without a screen.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>

#include "tests/gui/headless_window.hpp"
#include "tests/gui/window_benches.hpp"
#include "tests/support/patience.hpp"

namespace coldtune::gui {
namespace {

TEST(Window, FollowingShowsReadingsAsTheyComeAndKeepsTheLast) {
    HeadlessWindow w;
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.press('F');
    ASSERT_TRUE(w.state().busy());
    const auto asked = std::chrono::steady_clock::now();
    while (!w.state().live() || w.state().following->readings < 12) {
        w.frames();
        ASSERT_LT(std::chrono::steady_clock::now() - asked, testing::kPatience * std::chrono::seconds(60))
            << w.state().complaint;
    }
    const auto* r = w.state().following->latest->resonance();
    ASSERT_NE(r, nullptr) << w.state().following->latest->findings.front().text;
    // Without standards the design allows 0.2 %.
    EXPECT_NEAR(r->frequency_hz / true_resonance(w.state()), 1, 0.002);
    EXPECT_LE(w.state().following->update_s, 0.2) << "five times a second";
    EXPECT_TRUE(w.has("history"));
    EXPECT_TRUE(w.state().runs.empty()) << "nothing is kept while it runs";
    const PlotScene& scene = w.app().scene();
    ASSERT_EQ(scene.marks.size(), 2U);
    EXPECT_EQ(scene.legend.front().label, "live");
    const Rect strip = w.place("history"), plot = w.place("plot");
    EXPECT_LE(strip.bottom, plot.top);

    w.press(key::space);
    ASSERT_TRUE(w.settle());
    ASSERT_EQ(w.state().runs.size(), 1U);
    EXPECT_NE(w.state().runs[0].result.resonance(), nullptr);
    EXPECT_THAT(w.state().runs[0].note, ::testing::HasSubstr("live"));
    EXPECT_TRUE(w.has("history")) << "the strip stays to be looked at";
    for (const LegendEntry& entry : w.app().scene().legend) EXPECT_NE(entry.label, "live") << "it is over";
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    w.frames();
    EXPECT_FALSE(w.has("history")) << "a sweep is something else";
    EXPECT_EQ(w.state().runs.size(), 2U);
}

TEST(Window, FollowingWithoutAResonanceShowsNoNumberAndKeepsNothing) {
    HeadlessWindow w(faulty([](bench::Bench& b) { b.faults.coil_input_dead = true; }));
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.press('F');
    const auto asked = std::chrono::steady_clock::now();
    while (!w.state().live() || w.state().following->readings < 3) {
        w.frames();
        ASSERT_LT(std::chrono::steady_clock::now() - asked, testing::kPatience * std::chrono::seconds(60))
            << w.state().complaint;
    }
    EXPECT_EQ(w.state().following->latest->resonance(), nullptr);
    ASSERT_EQ(w.app().scene().marks.size(), 1U) << "only what was calculated";
    w.press('F');
    ASSERT_TRUE(w.settle());
    EXPECT_TRUE(w.state().runs.empty());
    EXPECT_THAT(w.state().notice, ::testing::HasSubstr("no resonance"));
}

TEST(Window, AnInterfaceThatVanishesEndsFollowingWithASentence) {
    HeadlessWindow w(lost());
    ASSERT_TRUE(w.settle());
    w.press(key::f5);
    w.press('F');
    ASSERT_TRUE(w.settle());
    EXPECT_THAT(w.state().complaint, ::testing::HasSubstr("plug it in again"));
    EXPECT_TRUE(w.state().runs.empty());
}

TEST(Window, TheInputLevelsAreShownWithoutASweep) {
    HeadlessWindow w(faulty([](bench::Bench& b) {
        b.interface.generator_noise_dbfs = -40;
        b.interface.coil_noise_dbfs = -40;
    }));
    ASSERT_TRUE(w.settle());
    w.press(key::f3);
    w.frames();
    w.click("wiring.listen");
    ASSERT_TRUE(w.state().busy());
    const auto asked = std::chrono::steady_clock::now();
    while (!(w.state().coil_meter.peak > 0)) {
        w.frames();
        ASSERT_LT(std::chrono::steady_clock::now() - asked, testing::kPatience * std::chrono::seconds(30))
            << w.state().complaint;
    }
    // Noise of -40 dBFS (rms 0.007) over a tenth of a second peaks four to five times as high.
    EXPECT_NEAR(w.state().coil_meter.peak, 0.032, 0.012);
    EXPECT_NEAR(w.state().generator_meter.peak, 0.032, 0.012);
    w.press(key::space);
    ASSERT_TRUE(w.settle());
    EXPECT_TRUE(w.state().complaint.empty()) << w.state().complaint;
    EXPECT_TRUE(w.state().runs.empty());
}

}  // namespace
}  // namespace coldtune::gui
