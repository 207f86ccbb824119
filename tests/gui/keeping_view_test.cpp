// Runs and standards outlive the window: in a bench book beside the coil's file, which the command line program reads
// as well.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <thread>

#include "analyzer/book/check.hpp"
#include "tests/gui/headless_window.hpp"
#include "tests/gui/window_benches.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::gui {
namespace {

using coldtune::testing::ScratchFolder;
using ::testing::HasSubstr;

class Keeping : public ::testing::Test {
protected:
    // A new day: what the settings remember, and nothing else.
    std::unique_ptr<HeadlessWindow> begin(const Remembered& remembered) {
        auto w = std::make_unique<HeadlessWindow>();
        w->app().keep_state_in(folder_ / "state");
        w->app().restore(remembered);
        EXPECT_TRUE(w->settle());
        return w;
    }
    Remembered coil(const char* name) {
        Remembered r;
        EXPECT_TRUE(save_form(first_form(), folder_ / name));
        r.document = *open_document(folder_ / name);
        return r;
    }
    static void sweep(HeadlessWindow& w) {
        w.press(key::f5);
        w.press(key::space);
        ASSERT_TRUE(w.settle()) << w.state().complaint;
    }
    book::OpenedBook read(const char* name) {
        auto opened = book::read_book(*book::places_of(folder_ / name));
        EXPECT_TRUE(opened) << opened.error().message;
        return opened ? *opened : book::OpenedBook{};
    }
    ScratchFolder folder_;
};

TEST_F(Keeping, RunsAndStandardsComeBackWithTheCoil) {
    Remembered remembered = coil("heron.json");
    double first_hz = 0;
    std::size_t points = 0;
    std::string written;
    {
        auto w = begin(remembered);
        w->app().act(action(Do::take_standard, std::string("open")));
        ASSERT_TRUE(w->settle());
        sweep(*w);
        w->app().act({Do::note_run, {}, "wall 1 m away", 1, true});
        sweep(*w);
        ASSERT_EQ(w->state().runs.size(), 2U);
        EXPECT_EQ(w->state().runs[1].number, 2) << w->state().book.complaint;
        EXPECT_EQ(w->state().book.complaint, "");
        w->frames();
        EXPECT_TRUE(w->has("book")) << "says where they are kept";
        first_hz = w->state().runs[0].result.resonance()->frequency_hz;
        points = w->state().runs[0].measured->frequency_hz.size();
        written = w->state().runs[0].written;
        remembered = remembered_of(w->state(), 1280, 800);
        // And closed at once: the note, still waiting, is written all the same.
    }
    const auto opened = read("heron-book.json");
    const auto places = *book::places_of(folder_ / "heron-book.json");
    const auto report = book::check_book(opened.book, places, true, {});
    EXPECT_TRUE(report.sound()) << (report.findings.empty() ? "" : report.findings[0].sentence);
    EXPECT_EQ(report.runs_same, 2U);
    EXPECT_EQ(opened.book.captures.size(), 3U) << "the standard is kept once";

    auto w = begin(remembered);
    ASSERT_EQ(w->state().runs.size(), 2U);
    const gui::Run& first = w->state().runs[0];
    EXPECT_EQ(first.name, "Run 1");
    EXPECT_EQ(first.note, "wall 1 m away");
    EXPECT_EQ(first.standards, "open");
    EXPECT_EQ(first.device, kSimulated);
    EXPECT_EQ(first.written, written) << "the tuning step knows it again";
    EXPECT_DOUBLE_EQ(first.result.resonance()->frequency_hz, first_hz);
    EXPECT_LT(std::chrono::abs(Clock::now() - first.time), std::chrono::minutes(2)) << "its own time";
    EXPECT_EQ(w->state().selected_run, 2);
    EXPECT_TRUE(w->state().runs[1].measured) << "the last one is drawn at once";
    EXPECT_FALSE(first.measured);
    w->press(key::f5);
    w->frames();
    w->click("run.1");
    ASSERT_TRUE(w->settle());
    ASSERT_TRUE(w->state().run(1)->measured);
    EXPECT_EQ(w->state().run(1)->measured->frequency_hz.size(), points);
    EXPECT_TRUE(w->state().run(1)->fitted);
    // The standard serves on, with a word on what it rests on.
    ASSERT_TRUE(w->state().standards.contains(bench::Hookup::open));
    w->press(key::f4);
    w->frames();
    EXPECT_TRUE(w->has("standard.returned.open"));
    sweep(*w);
    ASSERT_EQ(w->state().runs.size(), 3U);
    EXPECT_EQ(w->state().runs[2].name, "Run 3") << "no number is given twice";
    EXPECT_EQ(w->state().runs[2].standards, "open");
    EXPECT_EQ(read("heron-book.json").book.captures.size(), 4U);
    // Forgotten is forgotten tomorrow, too.
    w->app().act(action(Do::drop_standard, std::string("open")));
    remembered = remembered_of(w->state(), 1280, 800);
    ASSERT_TRUE(save_settings(remembered, folder_ / "window.json"));
    w.reset();
    w = begin(load_settings(folder_ / "window.json"));
    EXPECT_TRUE(w->state().standards.empty());
    EXPECT_EQ(w->state().runs.size(), 3U);
}

TEST_F(Keeping, ADeletedRunIsBroughtBack) {
    auto w = begin(coil("heron.json"));
    sweep(*w);
    sweep(*w);
    w->app().act({Do::delete_run, {}, {}, 1, true});
    ASSERT_TRUE(w->settle());
    EXPECT_EQ(read("heron-book.json").book.runs.size(), 1U);
    w->press('Z', true);
    ASSERT_TRUE(w->settle());
    ASSERT_EQ(w->state().runs.size(), 2U);
    EXPECT_EQ(w->state().runs[0].name, "Run 1");
    EXPECT_EQ(w->state().selected_run, 1);
    ASSERT_EQ(read("heron-book.json").book.runs.size(), 2U);
    EXPECT_EQ(read("heron-book.json").book.runs[0].number, 1);
    // By the line in the list, and also the last one of all.
    for (const double id : {2.0, 1.0}) w->app().act({Do::delete_run, {}, {}, id, true});
    w->frames();
    w->click("run.undelete");
    EXPECT_EQ(w->state().runs.size(), 1U);
    w->frames();
    w->click("run.undelete");
    ASSERT_TRUE(w->settle());
    EXPECT_EQ(w->state().runs.size(), 2U);
    EXPECT_FALSE(w->has("run.undelete"));
    const auto report =
        book::check_book(read("heron-book.json").book, *book::places_of(folder_ / "heron-book.json"), false, {});
    EXPECT_TRUE(report.sound());
}

TEST_F(Keeping, RunsOfAnUnnamedCoilGoAlongWhenItIsSaved) {
    auto w = begin({});
    sweep(*w);
    EXPECT_EQ(read("state/unnamed-coil-book.json").book.runs.size(), 1U);
    w->app().act(action(Do::save_coil, (folder_ / "heron.json").string()));
    ASSERT_TRUE(w->settle());
    EXPECT_EQ(w->state().book.complaint, "");
    EXPECT_EQ(w->state().runs.size(), 1U);
    EXPECT_EQ(read("heron-book.json").book.runs.size(), 1U);
    EXPECT_FALSE(std::filesystem::exists(folder_ / "state/unnamed-coil-book.json"));
    sweep(*w);
    EXPECT_EQ(read("heron-book.json").book.runs.size(), 2U);
    // Another coil has a list of its own, and going back brings this one's.
    ASSERT_TRUE(save_form(first_form(), folder_ / "other.json"));
    w->app().act(action(Do::open_coil, (folder_ / "other.json").string()));
    ASSERT_TRUE(w->settle());
    EXPECT_TRUE(w->state().runs.empty());
    w->app().act(action(Do::go_coil));
    w->app().act(action(Do::undo));
    ASSERT_TRUE(w->settle());
    EXPECT_EQ(w->state().runs.size(), 2U);
}

TEST_F(Keeping, ARunThatCannotBeKeptSaysSoAndCanBeTriedAgain) {
    folder_.put("heron-book.json", R"({"somebody": "else's"})");
    auto w = begin(coil("heron.json"));
    EXPECT_THAT(w->state().book.complaint, HasSubstr("heron-book.json"));
    sweep(*w);
    ASSERT_EQ(w->state().runs.size(), 1U);
    EXPECT_NE(w->state().runs[0].unkept, "");
    EXPECT_EQ(coldtune::testing::bytes_of(folder_ / "heron-book.json"), R"({"somebody": "else's"})");
    std::filesystem::remove(folder_ / "heron-book.json");
    w->frames();
    w->app().act(action(Do::keep_again));
    ASSERT_TRUE(w->settle());
    EXPECT_EQ(w->state().runs[0].unkept, "");
    EXPECT_EQ(read("heron-book.json").book.runs.size(), 1U);
}

TEST_F(Keeping, TwoWindowsShareOneBook) {
    const Remembered remembered = coil("heron.json");
    auto w = begin(remembered);
    App other(
        usual_ports(0), [] {}, folder_.path());
    other.keep_state_in(folder_ / "state");
    other.restore(remembered);
    const auto settle_other = [&] {
        for (int k = 0; k < 6000 && !other.state().idle(); ++k) {
            other.take_in();
            std::this_thread::sleep_for(std::chrono::milliseconds(10));
        }
        return other.state().idle();
    };
    ASSERT_TRUE(settle_other());
    sweep(*w);
    other.act(action(Do::go_sweep));
    other.act(action(Do::sweep_or_stop));
    ASSERT_TRUE(settle_other());
    ASSERT_EQ(other.state().runs.size(), 1U);
    EXPECT_EQ(other.state().runs[0].name, "Run 2") << other.state().book.complaint;
    EXPECT_EQ(read("heron-book.json").book.runs.size(), 2U);
}

}  // namespace
}  // namespace coldtune::gui
