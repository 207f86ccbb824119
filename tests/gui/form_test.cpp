// What people type, and what the window remembers.
#include <gtest/gtest.h>

#include "gui/bench_form.hpp"
#include "gui/fonts.hpp"
#include "gui/history.hpp"
#include "gui/settings_file.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::gui {
namespace {

using coldtune::testing::ScratchFolder;

TEST(CoilForm, ReadsWhatPeopleType) {
    CoilForm form = first_form();
    form.text["secondary.diameter"] = " 20cm ";
    form.text["secondary.wire"] = "AWG 26";
    form.text["secondary.length"] = "30in";
    form.text["secondary.turns"] = "1180";
    const auto reading = read(form);
    ASSERT_TRUE(reading.coil) << reading.complaints.begin()->second;
    EXPECT_DOUBLE_EQ(reading.coil->secondary.diameter_m, 0.2);
    EXPECT_DOUBLE_EQ(reading.coil->secondary.length_m, 0.762);  // the inch is 25.4 mm exactly
    // ASTM B258: 0.127 mm x 92^((36 - 26) / 39) = 0.40489 mm.
    EXPECT_NEAR(reading.coil->secondary.wire_diameter_m, 0.40489e-3, 1e-8);
}

TEST(CoilForm, ComplainsAtTheField) {
    CoilForm form = first_form();
    form.text["secondary.turns"] = "many";
    form.text["topload.0.height"] = "";
    const auto reading = read(form);
    EXPECT_FALSE(reading.coil);
    EXPECT_EQ(reading.complaints.size(), 2U);
    EXPECT_TRUE(reading.complaints.contains("secondary.turns"));
    EXPECT_TRUE(reading.complaints.contains("topload.0.height"));

    // Readable, but it cannot be built: wire thicker than the pitch.
    form = first_form();
    form.text["secondary.wire"] = "5mm";
    EXPECT_FALSE(read(form).coil);
    EXPECT_TRUE(read(form).complaints.contains("secondary.wire"));
}

TEST(CoilForm, EveryPartCanBeTurnedOnWithSizesToBeginWith) {
    CoilForm form = first_form();
    for (CoilPart part : {CoilPart::ground, CoilPart::wall, CoilPart::ceiling, CoilPart::primary, CoilPart::tank}) {
        form.has[part] = true;
        const auto reading = read(form);
        EXPECT_TRUE(reading.coil) << part_title(part) << ": " << reading.complaints.begin()->second;
    }
}

TEST(CoilForm, SavesAndOpensAsTyped) {
    const ScratchFolder folder;
    CoilForm form = first_form();
    form.name = "Br\u00f6ckchen <3> \"quoted\"";
    form.text["secondary.wire"] = "AWG 30";
    add_topload(form, "sphere");
    form.has[CoilPart::primary] = true;
    form.text["tolerances.turns"] = "5";
    ASSERT_TRUE(save_form(form, folder / "coil.json"));
    const auto opened = load_form(folder / "coil.json");
    ASSERT_TRUE(opened) << opened.error().message;
    EXPECT_EQ(opened->name, form.name);
    EXPECT_EQ(opened->topload_shapes, form.topload_shapes);
    EXPECT_EQ(to_json(*opened), to_json(form));
}

TEST(CoilForm, NumbersOfAFileBecomeTexts) {
    const auto form = form_from_json(
        R"({"secondary": {"diameter": 0.11, "length": 0.5, "turns": 1000, "wire": 0.0004, "base_height": "1in"}})",
        "x");
    ASSERT_TRUE(form) << form.error().message;
    EXPECT_EQ(form->text.at("secondary.diameter"), "0.11m");
    EXPECT_EQ(form->text.at("secondary.base_height"), "1in");
    EXPECT_TRUE(form->topload_shapes.empty());
    ASSERT_TRUE(read(*form).coil);
    EXPECT_DOUBLE_EQ(read(*form).coil->secondary.wire_diameter_m, 0.0004);
}

TEST(CoilForm, RefusesWhatTheCommandLineRefuses) {
    const ScratchFolder folder;
    EXPECT_FALSE(load_form(folder / "missing.json"));
    EXPECT_FALSE(load_form(folder.put("empty.json", "")));
    EXPECT_FALSE(load_form(folder.put("array.json", "[1, 2]")));
    EXPECT_FALSE(form_from_json(R"({"secondary": {"diameter": 0.11, "unknown": 3}})", "x"));
    EXPECT_FALSE(save_form(first_form(), folder / "no/such/folder/coil.json"));
}

TEST(CoilForm, RemovingABodyMovesTheOthersDown) {
    CoilForm form = first_form();
    add_topload(form, "sphere");
    form.text["topload.1.diameter"] = "123mm";
    remove_topload(form, 0);
    ASSERT_EQ(form.topload_shapes, std::vector<std::string>{"sphere"});
    EXPECT_EQ(form.text.at("topload.0.diameter"), "123mm");
    EXPECT_FALSE(form.text.contains("topload.1.diameter"));
    EXPECT_FALSE(form.text.contains("topload.0.outer_diameter"));
    remove_topload(form, 5);  // nothing there
    EXPECT_EQ(form.topload_shapes.size(), 1U);
}

TEST(BenchForm, ReadsValuesAndRefusesNonsense) {
    BenchForm form;
    ASSERT_TRUE(read(form).settings);
    EXPECT_DOUBLE_EQ(read(form).settings->bench.reference_ohm, 10e3);
    EXPECT_DOUBLE_EQ(read(form).settings->bench.input_capacitance_f, 160e-12);
    form.text["bench.reference"] = "4k7";  // IEC 60062
    EXPECT_DOUBLE_EQ(read(form).settings->bench.reference_ohm, 4700);
    for (const auto& [key, text] : {std::pair{"bench.reference", "0"},
                                    {"bench.reference", "-5"},
                                    {"bench.level", "3"},
                                    {"bench.level", "-90"},
                                    {"bench.input_capacitance", "-1p"},
                                    {"bench.load", ""}}) {
        BenchForm wrong;
        wrong.text[key] = text;
        EXPECT_FALSE(read(wrong).settings) << key << " = " << text;
        EXPECT_TRUE(read(wrong).complaints.contains(key));
    }
    BenchForm same;
    same.coil_input = same.generator_input = 1;
    EXPECT_FALSE(read(same).settings);
}

TEST(Fonts, SayWhatToInstallWhenThereAreNone) {
    const ScratchFolder folder;
    const auto none = find_fonts({folder.path()});
    ASSERT_FALSE(none);
    EXPECT_NE(none.error().message.find("fonts-open-sans"), std::string::npos);
    std::filesystem::create_directories(folder / "dejavu");
    folder.put("dejavu/DejaVuSans.ttf", "x");
    EXPECT_FALSE(find_fonts({folder.path()})) << "half a pair is none";
    folder.put("dejavu/DejaVuSans-Bold.ttf", "x");
    ASSERT_TRUE(find_fonts({folder.path()}));
    EXPECT_EQ(find_fonts({folder.path()})->regular, folder / "dejavu/DejaVuSans.ttf");
}

TEST(History, JoinsTypingInOneFieldAndForgetsRedoOnAChange) {
    History<int> history;
    int value = 1;
    const auto change = [&](int to, const char* kind) {
        history.before(value, kind);
        value = to;
    };
    change(2, "a");
    change(3, "a");
    change(4, "b");
    history.undo(value);
    EXPECT_EQ(value, 3);
    history.undo(value);
    EXPECT_EQ(value, 1);
    EXPECT_FALSE(history.can_undo());
    history.redo(value);
    history.redo(value);
    EXPECT_EQ(value, 4);
    history.undo(value);
    change(9, "b");
    EXPECT_FALSE(history.can_redo());
    history.undo(value);
    EXPECT_EQ(value, 3);
}

TEST(Settings, ComeBackAsTheyWere) {
    const ScratchFolder folder;
    Remembered r;
    r.width = 1500;
    r.dark = true;
    r.text_scale = 1.75;
    r.bench.device = "Some interface";
    r.bench.sample_rate_hz = 96000;
    r.bench.hookup = bench::Hookup::tank;
    r.bench.coil_input = 3;
    r.bench.text["bench.reference"] = "4k7";
    r.document.form.text["secondary.turns"] = "1234";
    const auto file = folder / "deep/er/window.json";
    ASSERT_TRUE(save_settings(r, file));
    const Remembered back = load_settings(file);
    EXPECT_EQ(back.width, 1500);
    EXPECT_TRUE(back.dark);
    EXPECT_DOUBLE_EQ(back.text_scale, 1.75);
    EXPECT_EQ(back.bench, r.bench);
    EXPECT_EQ(back.document.form.text.at("secondary.turns"), "1234");
}

TEST(Settings, ASpoiledFileNeverKeepsTheWindowShut) {
    const ScratchFolder folder;
    const Remembered usual;
    for (const char* text :
         {"", "{", "[]", "null", R"({"schema": "something else", "width": 5})",
          R"({"schema": "coldtune.window.v1", "width": "wide", "bench": 7, "coil": {"x": 1}})",
          R"({"schema": "coldtune.window.v1", "bench": {"rate": -4, "hookup": "open", "device": ""}})"}) {
        const Remembered r = load_settings(folder.put("window.json", text));
        EXPECT_EQ(r.width, usual.width) << text;
        EXPECT_EQ(r.bench, usual.bench) << text;
        EXPECT_EQ(r.document.form, usual.document.form) << text;
    }
    const Remembered r = load_settings(
        folder.put("window.json", R"({"schema": "coldtune.window.v1", "width": -1, "height": 1e6, "text_scale": 99})"));
    EXPECT_GE(r.width, 640);
    EXPECT_LE(r.height, 16384);
    EXPECT_DOUBLE_EQ(r.text_scale, 2.5);
}

TEST(Settings, LieWhereXdgSays) {
    setenv("XDG_CONFIG_HOME", "/somewhere/config", 1);
    EXPECT_EQ(settings_path(), "/somewhere/config/coldtune/window.json");
    setenv("XDG_CONFIG_HOME", "relative", 1);  // to be ignored, says the specification
    setenv("HOME", "/home/anna", 1);
    EXPECT_EQ(settings_path(), "/home/anna/.config/coldtune/window.json");
    unsetenv("XDG_CONFIG_HOME");
    unsetenv("HOME");
    EXPECT_TRUE(settings_path().empty());
}

}  // namespace
}  // namespace coldtune::gui
