// The description and its file, without a screen: nothing is written that cannot be read, nothing of another's
// overwritten unasked.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analyzer/record/coil_file.hpp"
#include "tests/gui/headless_window.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::gui {
namespace {

using coldtune::testing::bytes_of;
using coldtune::testing::ScratchFolder;
using ::testing::HasSubstr;

TEST(CoilFile, SaveWritesNothingThatNoProgramOpensAgain) {
    const ScratchFolder folder;
    const std::string path = (folder / "coil.json").string();
    HeadlessWindow w;
    w.app().act(action(Do::save_coil, path));
    const std::string sound = bytes_of(path);
    ASSERT_TRUE(record::parse_coil(sound, path));
    for (const CoilPart part : {CoilPart::primary, CoilPart::tank}) {
        w.app().act({Do::set_part, {}, "on", static_cast<double>(part), true});
    }
    const std::pair<const char*, const char*> wrong[] = {{"tank.lead_inductance", "9.5"},
                                                         {"primary.inner_diameter", "0.5u"},
                                                         {"secondary.turns", "many"},
                                                         {"secondary.wire", ""}};
    for (const auto& [key, text] : wrong) {
        SCOPED_TRACE(key);
        ASSERT_NE(find_field(key), nullptr);
        w.app().act({Do::set_field, key, text, 0, false});
        w.press(key::f7);
        w.press('S', true);
        EXPECT_THAT(w.state().complaint, HasSubstr("Not saved"));
        EXPECT_EQ(w.state().step, Step::coil);
        EXPECT_EQ(bytes_of(path), sound);
        EXPECT_FALSE(why_not_saved(w.state().coil).empty());
        w.app().act(action(Do::undo));
    }
    w.press('S', true);
    EXPECT_TRUE(w.state().complaint.empty()) << w.state().complaint;
    EXPECT_TRUE(record::parse_coil(bytes_of(path), path));
    EXPECT_EQ(w.state().coil, w.state().coil_saved);
}

TEST(CoilFile, AskedBeforeAnothersChangeIsOverwritten) {
    const ScratchFolder folder;
    const std::string path = (folder / "coil.json").string();
    HeadlessWindow w;
    w.app().act(action(Do::save_coil, path));
    CoilForm theirs = first_form();
    theirs.name = "theirs";
    ASSERT_TRUE(save_form(theirs, path));
    w.app().act(action(Do::set_name, std::string("ours")));
    w.press(key::f5);
    w.press('S', true);
    w.frames();
    ASSERT_TRUE(w.state().conflict);
    EXPECT_THAT(w.state().conflict->sentence, HasSubstr("changed by another program"));
    EXPECT_THAT(bytes_of(path), HasSubstr("theirs"));
    w.frames(6);
    w.click("conflict.read");
    EXPECT_EQ(w.state().coil.name, "theirs");
    EXPECT_FALSE(w.state().conflict);
    // What was typed is one step back, and again not written over theirs by accident.
    w.app().act(action(Do::undo));
    EXPECT_EQ(w.state().coil.name, "ours");
    w.app().act(action(Do::save_coil));
    w.frames(6);
    ASSERT_TRUE(w.state().conflict);
    w.click("conflict.save");
    EXPECT_FALSE(w.state().conflict);
    EXPECT_THAT(bytes_of(path), HasSubstr("ours"));
    w.press('S', true);
    EXPECT_FALSE(w.state().conflict) << "our own writing is no change";
}

TEST(CoilFile, AFileThatWasNeverReadIsNotOverwrittenUnasked) {
    const ScratchFolder folder;
    CoilForm theirs = first_form();
    theirs.name = "theirs";
    const std::string path = (folder / "coil.json").string();
    ASSERT_TRUE(save_form(theirs, path));
    HeadlessWindow w;
    w.app().act(action(Do::save_coil, path));
    ASSERT_TRUE(w.state().conflict);
    EXPECT_THAT(bytes_of(path), HasSubstr("theirs"));
    w.press(key::escape);
    EXPECT_FALSE(w.state().conflict);
    EXPECT_EQ(w.state().coil_path, "");
}

TEST(CoilFile, OpeningAnotherKeepsWhatWasNotSaved) {
    const ScratchFolder folder;
    HeadlessWindow w;
    w.app().keep_state_in(folder / "state");
    const std::string first = (folder / "first.json").string(), second = (folder / "second.json").string();
    ASSERT_TRUE(save_form(first_form(), second));
    w.app().act(action(Do::save_coil, first));
    w.app().act({Do::set_field, "secondary.turns", "unfini", 0, false});
    w.app().act(action(Do::open_coil, second));
    EXPECT_THAT(w.state().notice, HasSubstr("kept as"));
    std::vector<std::filesystem::path> kept;
    for (const auto& e : std::filesystem::directory_iterator(folder / "state")) kept.push_back(e.path());
    ASSERT_EQ(kept.size(), 1U);
    const auto draft = load_form(kept[0]);
    ASSERT_TRUE(draft) << draft.error().message;
    EXPECT_EQ(draft->text.at("secondary.turns"), "unfini");
    // Going back goes back to its file too, so that saving does not hit the wrong one.
    w.app().act(action(Do::undo));
    EXPECT_EQ(w.state().coil_path, first);
    EXPECT_EQ(w.state().coil.text.at("secondary.turns"), "unfini");
}

TEST(CoilFile, ANewNameIsWrittenOnSave) {
    const ScratchFolder folder;
    HeadlessWindow w;
    Remembered remembered;
    remembered.document = new_document(folder / "new.json");
    w.app().restore(remembered);
    ASSERT_TRUE(w.settle());
    w.press('S', true);
    EXPECT_TRUE(record::parse_coil(bytes_of(folder / "new.json"), "new.json"));
}

TEST(CoilFile, ThatSettingsCannotBeWrittenIsSaid) {
    HeadlessWindow w;
    w.app().settings_written(bad_input("the disk is full"));
    EXPECT_THAT(w.state().unkept, HasSubstr("disk is full"));
    w.app().settings_written(Done{});
    EXPECT_EQ(w.state().unkept, "");
}

}  // namespace
}  // namespace coldtune::gui
