// What every frame must hold whatever it shows: nothing heavy in it, nothing outside its place.
#include <gtest/gtest.h>

#include <time.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <thread>

#include "tests/gui/headless_window.hpp"
#include "tests/support/patience.hpp"

namespace coldtune::gui {
namespace {

double thread_cpu_ms() {
    timespec t{};
    clock_gettime(CLOCK_THREAD_CPUTIME_ID, &t);
    return static_cast<double>(t.tv_sec) * 1e3 + static_cast<double>(t.tv_nsec) * 1e-6;
}

// Nothing heavy is done on the drawing thread: through a whole measurement no frame takes 50 ms of it. Its own time on
// the processor is taken, so that a busy machine does not count.
TEST(Window, NeverHoldsUpAFrame) {
    HeadlessWindow w;
    double worst = 0;
    const auto frames = [&](auto until) {
        for (int k = 0; k < 20000 && !until(); ++k) {
            const double before = thread_cpu_ms();
            w.frames(1);
            worst = std::max(worst, thread_cpu_ms() - before);
            std::this_thread::sleep_for(std::chrono::milliseconds(2));
        }
        EXPECT_TRUE(until());
    };
    const auto act = [&](Action a) {
        const double before = thread_cpu_ms();
        w.app().act(a);
        w.frames(1);
        worst = std::max(worst, thread_cpu_ms() - before);
    };
    frames([&] { return !w.state().advising; });
    act(action(Do::go_sweep));
    for (std::size_t run = 1; run <= 2; ++run) {
        act(action(Do::sweep_or_stop));
        frames([&] { return !w.state().busy() && w.state().runs.size() == run; });
    }
    for (int k = 0; k < kPlotPairs; ++k) act(action(Do::next_plot_pair));
    act(action(Do::plot_all));
    act(action(Do::toggle_theme));
    act({Do::set_field, "secondary.turns", "2400", 0, false});
    frames([&] { return !w.state().advising; });
    for (const CoilPart part : {CoilPart::primary, CoilPart::tank}) {
        act({Do::set_part, {}, "on", static_cast<double>(part), true});
    }
    act(action(Do::measure_place, std::string("tap")));
    act(action(Do::go_sweep));
    act(action(Do::sweep_or_stop));
    frames([&] { return w.state().runs.size() == 3 && w.state().idle(); });
    act(action(Do::go_tuning));
    act({Do::set_field, "tuning.allowance", "4%", 0, false});
    act(action(Do::set_instead, std::string("toroid")));
    act(action(Do::compare_run));
    frames([&] { return w.state().idle(); });
    RecordProperty("longest_frame_ms", std::to_string(worst));
    EXPECT_LT(worst, 50 * testing::kPatience);
}

// Everything named lies inside the window, and the columns do not overlap, at every size and for every step.
TEST(Window, FitsEverySizeAndScale) {
    HeadlessWindow w;
    ASSERT_TRUE(w.first_sweep());
    for (const ImVec2 size : {ImVec2{900, 600}, ImVec2{1024, 700}, ImVec2{1280, 800}, ImVec2{2560, 1440}}) {
        for (float scale : {1.0F, 1.5F, 2.0F, 2.5F}) {
            w.resize(size, scale);
            for (Do step : {Do::go_coil, Do::go_wiring, Do::go_standards, Do::go_sweep, Do::go_tuning}) {
                w.app().act(action(step));
                for (const auto& h : bench::all_hookups()) {
                    if (bench::seeks_resonance(h.hookup)) w.app().act(action(Do::set_hookup, std::string(h.name)));
                }
                w.app().act(action(Do::set_hookup, std::string("foot")));
                w.frames(4);
                const std::string where =
                    "step " + std::to_string(static_cast<int>(w.state().step)) + " at scale " + std::to_string(scale);
                for (const auto& [name, r] : w.places()) {
                    EXPECT_GE(r.left, -0.5F) << name << ", " << where;
                    EXPECT_LE(r.right, size.x + 0.5F) << name << ", " << where;
                }
                for (const char* bar : {"bar.toggle_theme", "bar.help", "bar.show_cautions"}) {
                    EXPECT_TRUE(w.has(bar)) << bar << ", " << where;
                    if (w.has(bar)) {
                        EXPECT_GE(w.place(bar).left, w.place("step.4").right - 1) << bar << ", " << where;
                    }
                }
                for (const char* bar : {"step.0", "step.4", "status", "readout"}) {
                    if (w.has(bar)) {
                        EXPECT_GT(w.place(bar).height(), 10) << bar << ", " << where;
                    }
                }
                const bool columns = size.x - 32 * scale >= 860 * scale;
                for (const char* right : {"plot", "picture"}) {
                    if (columns && w.has(right)) {
                        EXPECT_LE(w.place("left").right, w.place(right).left) << where;
                        EXPECT_LE(w.place(right).bottom, w.place("status").top + 1) << right << ", " << where;
                    }
                }
                if (w.has("plot")) {
                    EXPECT_GE(w.place("pane.0").height(), 60) << where;
                }
            }
        }
    }
}

}  // namespace
}  // namespace coldtune::gui
