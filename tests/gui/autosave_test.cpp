// What is remembered, and when it is written.
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <thread>

#include "gui/autosave.hpp"
#include "gui/coil_draft.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::gui {
namespace {

using coldtune::testing::bytes_of;
using coldtune::testing::ScratchFolder;
using namespace std::chrono_literals;

Remembered typed(const std::string& turns) {
    Remembered r;
    r.document.form.text["secondary.turns"] = turns;
    return r;
}

std::optional<Status> outcome_of(Autosave& autosave) {
    for (int k = 0; k < 500; ++k) {
        if (auto outcome = autosave.take_outcome()) return outcome;
        std::this_thread::sleep_for(10ms);
    }
    return std::nullopt;
}

TEST(Autosave, WritesOnceItRests) {
    const ScratchFolder folder;
    const auto file = folder / "window.json";
    Autosave autosave(file, folder / "state", {});
    const auto begin = Autosave::Steady::now();
    autosave.look(typed("1"), begin);
    EXPECT_FALSE(autosave.due_in(begin + 1h)) << "as it was read: nothing to write";
    autosave.look(typed("12"), begin + 1s);
    EXPECT_EQ(autosave.due_in(begin + 1s), Autosave::kRest);
    autosave.look(typed("123"), begin + 2s);
    EXPECT_EQ(autosave.due_in(begin + 3s), Autosave::kRest - 1s) << "from the last change on";
    autosave.look(typed("123"), begin + 3s);
    EXPECT_FALSE(std::filesystem::exists(file));
    autosave.look(typed("123"), begin + 2s + Autosave::kRest);
    const auto outcome = outcome_of(autosave);
    ASSERT_TRUE(outcome && *outcome);
    EXPECT_FALSE(autosave.due_in(begin + 1h));
    EXPECT_EQ(load_settings(file).document.form, typed("123").document.form);
}

TEST(Autosave, AHandThatNeverRestsIsNotWaitedFor) {
    const ScratchFolder folder;
    Autosave autosave(folder / "window.json", {}, {});
    const auto begin = Autosave::Steady::now();
    autosave.look(typed("0"), begin);
    for (int k = 1; k <= 11; ++k) autosave.look(typed(std::to_string(k)), begin + k * 1s);
    const auto outcome = outcome_of(autosave);
    ASSERT_TRUE(outcome && *outcome) << "ten seconds after the first change";
}

TEST(Autosave, TellsWhatCannotBeWritten) {
    const ScratchFolder folder;
    folder.put("file", "no folder");
    Autosave autosave(folder / "file/window.json", {}, {});
    const auto begin = Autosave::Steady::now();
    autosave.look(typed("1"), begin);
    autosave.look(typed("2"), begin);
    autosave.look(typed("2"), begin + Autosave::kRest);
    const auto outcome = outcome_of(autosave);
    ASSERT_TRUE(outcome);
    EXPECT_FALSE(*outcome);
    EXPECT_FALSE(autosave.finish(typed("2")));
}

TEST(Settings, AnUnfinishedDescriptionComesBackAsTyped) {
    const ScratchFolder folder;
    Remembered r = typed("two thousand and");
    r.document.form.topload_shapes = {"toroid", "disc"};
    r.document.form.has[CoilPart::tank] = true;
    r.document.form.text["topload.1.diameter"] = "";
    ASSERT_FALSE(read(r.document.form).coil);
    ASSERT_TRUE(save_settings(r, folder / "window.json"));
    EXPECT_EQ(load_settings(folder / "window.json"), r);
}

TEST(Settings, AFileNobodyChangedHereIsReadAgain) {
    const ScratchFolder folder;
    const auto coil = folder / "coil.json";
    CoilForm form = first_form();
    ASSERT_TRUE(save_form(form, coil));
    Remembered r;
    r.document = *open_document(coil);
    ASSERT_TRUE(save_settings(r, folder / "window.json"));
    form.text["secondary.turns"] = "1234";
    ASSERT_TRUE(save_form(form, coil));
    EXPECT_EQ(load_settings(folder / "window.json").document.form.text.at("secondary.turns"), "1234");
    // What was changed here is not thrown away for it; saving will ask.
    r.document.form.text["secondary.turns"] = "777";
    ASSERT_TRUE(save_settings(r, folder / "window.json"));
    const auto back = load_settings(folder / "window.json").document;
    EXPECT_EQ(back.form.text.at("secondary.turns"), "777");
    EXPECT_TRUE(back.unsaved());
    EXPECT_NE(*look_at(coil), back.seen);
}

TEST(Drafts, OfAWindowThatIsGoneAreKeptUnderAName) {
    const ScratchFolder folder;
    // A process that has ended: nobody has its number now.
    const pid_t gone = fork();
    if (gone == 0) _exit(0);
    waitpid(gone, nullptr, 0);
    const CoilForm lost = typed("half a thou").document.form;
    const auto draft = folder.put("draft-" + std::to_string(gone) + ".json", draft_json(lost));
    const auto alive = folder.put("draft-" + std::to_string(getppid()) + ".json", draft_json(lost));
    folder.put("draft-x.json", "not ours");
    const auto kept = recover_drafts(folder.path(), first_form());
    ASSERT_EQ(kept.size(), 1U);
    EXPECT_FALSE(std::filesystem::exists(draft));
    EXPECT_TRUE(std::filesystem::exists(alive)) << "its window still has it";
    const auto back = open_document(kept[0]);
    ASSERT_TRUE(back) << back.error().message;
    EXPECT_EQ(back->form, lost);
    // What is on the screen already needs no second name.
    folder.put("draft-" + std::to_string(gone) + ".json", draft_json(lost));
    EXPECT_TRUE(recover_drafts(folder.path(), lost).empty());
    EXPECT_FALSE(std::filesystem::exists(draft));
}

}  // namespace
}  // namespace coldtune::gui
