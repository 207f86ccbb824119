// What stands where in the tuning step, kept from day to day; and its two pictures.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "analyzer/measure/spark_figures.hpp"
#include "analyzer/model/tank.hpp"
#include "gui/settings_file.hpp"
#include "gui/spark_picture.hpp"
#include "gui/tuning_axis.hpp"
#include "gui/tuning_form.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::gui {
namespace {

using bench::Hookup;

model::CoilDescription coil_with_tap(double turns, bool topload) {
    CoilForm form = first_form();
    form.has[CoilPart::primary] = form.has[CoilPart::tank] = true;
    model::CoilDescription coil = *read(form).coil;
    coil.tank->tap_turns = turns;
    if (!topload) coil.topload.clear();
    return coil;
}

measure::MeasurementResult measured(Hookup hookup, std::optional<model::CoilDescription> coil, double hertz = 60e3) {
    measure::MeasurementResult r;
    r.hookup = hookup;
    r.description = std::move(coil);
    measure::Accepted accepted;
    measure::Resonance resonance;
    resonance.frequency_hz = hertz;
    resonance.frequency_u95_hz = 5;
    accepted.resonance = resonance;
    r.outcome = accepted;
    return r;
}

TEST(TuningForm, ARunFindsItsPlaceByItsHookupAndItsTopLoad) {
    TuningForm form;
    EXPECT_NE(take_run(form, {"Run 1", "1"}, measured(Hookup::foot, coil_with_tap(9, false))), "");
    EXPECT_NE(take_run(form, {"Run 2", "2"}, measured(Hookup::foot, coil_with_tap(9, true))), "");
    EXPECT_NE(take_run(form, {"Run 3", "3"}, measured(Hookup::tank, coil_with_tap(9, true))), "");
    EXPECT_NE(take_run(form, {"Run 4", "4"}, measured(Hookup::tank, coil_with_tap(7.5, true))), "");
    EXPECT_EQ(form.places.at("bare").name, "Run 1");
    EXPECT_EQ(form.places.at("secondary").name, "Run 2");
    ASSERT_EQ(form.taps.size(), 2U);
    EXPECT_EQ(form.taps[1].turns, "7.5");
    // The same tap again is that tap, measured now.
    take_run(form, {"Run 5", "5"}, measured(Hookup::tank, coil_with_tap(9, true)));
    ASSERT_EQ(form.taps.size(), 2U);
    EXPECT_EQ(form.taps[0].evidence.name, "Run 4");
    EXPECT_EQ(form.taps[1].evidence.name, "Run 5");

    // What says nothing of its circumstances, and what was rejected, is for the user to place, or for nobody.
    EXPECT_EQ(take_run(form, {"Run 6", "6"}, measured(Hookup::foot, std::nullopt)), "");
    EXPECT_EQ(take_run(form, {"Run 7", "7"}, measured(Hookup::tank, std::nullopt)), "");
    auto bad = measured(Hookup::foot, coil_with_tap(9, true));
    bad.outcome = measure::Rejected{};
    EXPECT_EQ(take_run(form, {"Run 8", "8"}, bad), "");
    EXPECT_EQ(form.places.at("secondary").name, "Run 2");
}

TEST(TuningForm, WhatWasChosenByHandStays) {
    TuningForm form;
    ASSERT_TRUE(put(form, place::secondary, {"kept.json", {}, false}));
    take_run(form, {"Run 2", "2"}, measured(Hookup::foot, coil_with_tap(9, true)));
    EXPECT_EQ(form.places.at("secondary").name, "kept.json");
    EXPECT_TRUE(form.places.at("secondary").is_file());
    ASSERT_TRUE(take_away(form, place::secondary));
    take_run(form, {"Run 3", "3"}, measured(Hookup::foot, coil_with_tap(9, true)));
    EXPECT_EQ(form.places.at("secondary").name, "Run 3");
    EXPECT_FALSE(put(form, "no such place", {"x", {}, false}));
    EXPECT_FALSE(put(form, "tap.4", {"x", {}, false}));
    EXPECT_FALSE(take_away(form, "tap.0"));
}

TEST(TuningForm, FieldsThatCannotBeReadComplain) {
    TuningForm form;
    form.allowance = "";
    form.taps = {{{"Run 1", "1", false}, "-2"}, {{"Run 2", "2", false}, "nine"}, {{"Run 3", "3", false}, ""}};
    set_instead(form, "toroid");
    form.instead.text["topload.0.outer_diameter"] = "wide";
    const TuningReading r = read(form, first_form());
    EXPECT_FALSE(r.allowance);
    EXPECT_FALSE(r.instead);
    for (const char* field : {"allowance", "tap.0", "tap.1", "topload.0.outer_diameter"}) {
        EXPECT_TRUE(r.complaints.contains(field)) << field;
    }
    EXPECT_FALSE(r.complaints.contains("tap.2"));
    form.instead.text["topload.0.outer_diameter"] = "45cm";
    const TuningReading good = read(form, first_form());
    ASSERT_TRUE(good.instead);
    EXPECT_DOUBLE_EQ(std::get<model::Toroid>(good.instead->topload.front()).outer_diameter_m, 0.45);
    EXPECT_EQ(good.instead->secondary.turns, 2500) << "of the described coil";
}

TEST(TuningForm, IsRememberedWithWhatItsRunsWrote) {
    const coldtune::testing::ScratchFolder folder;
    Remembered r;
    r.tuning.allowance = "4%";
    r.tuning.places["secondary"] = {"Run 2", R"({"a": "1.5 % \"quoted\""})", false, "2026-11-27 22:05"};
    r.tuning.places["bare"] = {"folder/bare.json", "", true};
    r.tuning.taps = {{{"Run 3", "{}", false}, "9.5"}};
    set_instead(r.tuning, "disc");
    r.tuning.instead.text["topload.0.diameter"] = "33cm";
    ASSERT_TRUE(save_settings(r, folder / "window.json"));
    // With the run's own time: tomorrow there may be another run 2.
    EXPECT_EQ(load_settings(folder / "window.json").tuning, r.tuning);
}

TEST(TuningForm, ASpoiledRecordIsWorthNothingAndHarmsNothing) {
    for (const char* text :
         {"", "[]", "7", R"({"places": 3, "taps": {"a": 1}, "allowance": []})",
          R"({"places": {"secondary": {"name": 3}, "nowhere": {"name": "x", "written": ""}, "bare": []}})",
          R"({"taps": [1, {"name": ""}, {"written": "x"}], "instead_shape": "cube", "instead": {"a": "b"}})"}) {
        EXPECT_EQ(tuning_form_from_json(text), TuningForm{}) << text;
    }
    std::string many = R"({"taps": [)";
    for (int k = 0; k < 40; ++k) many += std::string(k > 0 ? "," : "") + R"({"name": "a.json", "turns": 4})";
    EXPECT_LE(tuning_form_from_json(many + "]}").taps.size(), 12U);
}

// Writes down where text comes to lie; letters all of one width.
class TextCanvas final : public Canvas {
public:
    void clip(Rect) override {}
    void unclip() override {}
    void polyline(std::span<const Point>, Color, float) override { ++lines; }
    void polygon(std::span<const Point>, Color) override {}
    void ribbon(std::span<const Point>, std::span<const Point>, Color) override {}
    void rectangle(Rect, Color, float) override {}
    void disc(Point, float, Color) override {}
    void ring(Point, float, Color, float) override {}
    void text(Point at, std::string_view words, const TextStyle& style) override {
        const Point size = extent(words, style.size, style.weight);
        const auto from = [](float where, float length, Anchor a) {
            return a == Anchor::start ? where : a == Anchor::middle ? where - length / 2 : where - length;
        };
        const float x = from(at.x, size.x, style.horizontal), y = from(at.y, size.y, style.vertical);
        texts.emplace_back(std::string(words), Rect{x, y, x + size.x, y + size.y});
    }
    [[nodiscard]] Point extent(std::string_view words, float size, Weight weight) const override {
        const float height = size > 0 ? size : ordinary_size();
        return {static_cast<float>(words.size()) * height * (weight == Weight::strong ? 0.58F : 0.54F), height};
    }
    [[nodiscard]] float ordinary_size() const override { return 13; }

    std::vector<std::pair<std::string, Rect>> texts;
    int lines = 0;
};

void expect_readable(const TextCanvas& canvas, Rect area, const std::string& what) {
    for (std::size_t a = 0; a < canvas.texts.size(); ++a) {
        const auto& [words, r] = canvas.texts[a];
        EXPECT_GE(r.left, area.left - 0.5F) << words << ", " << what;
        EXPECT_LE(r.right, area.right + 0.5F) << words << ", " << what;
        EXPECT_GE(r.top, area.top - 0.5F) << words << ", " << what;
        EXPECT_LE(r.bottom, area.bottom + 0.5F) << words << ", " << what;
        for (std::size_t b = 0; b < a; ++b) {
            const Rect& o = canvas.texts[b].second;
            const bool apart = r.right <= o.left || o.right <= r.left || r.bottom <= o.top || o.bottom <= r.top;
            EXPECT_TRUE(apart) << words << " over " << canvas.texts[b].first << ", " << what;
        }
    }
}

TEST(TuningAxis, NothingOverlapsOrLeavesItWhereverTheTankLies) {
    for (const float width : {430.0F, 780.0F, 2000.0F}) {
        for (const double tank : {30e3, 58e3, 63.5e3, 63.7e3, 66e3, 90e3}) {
            for (const double allowance : {0.0, 0.03, 0.1}) {
                TextCanvas canvas;
                const double target = 65.6446e3 * (1 - allowance);
                const TuningAxis axis{{65.6446e3, 3.9, "65.6446 \u00b1 0.0039 kHz"},
                                      {target, 3.8, "63.6753 \u00b1 0.0038 kHz"},
                                      {tank, 3.7, "63.6961 \u00b1 0.0037 kHz"},
                                      0.01,
                                      allowance};
                const Rect area{10, 20, 10 + width, 210};
                draw_tuning_axis(canvas, area, axis, light_theme(), 1);
                expect_readable(canvas, area, std::to_string(width) + " wide, tank at " + std::to_string(tank));
                const auto shows = [&](const char* words) {
                    return std::any_of(canvas.texts.begin(), canvas.texts.end(),
                                       [&](const auto& t) { return t.first == words; });
                };
                for (const char* name : {"secondary", "target", "tank"}) EXPECT_TRUE(shows(name)) << name;
            }
        }
    }
}

TEST(SparkPicture, ShowsBothEnvelopesTheFirstTransferAndTheLimit) {
    for (const float width : {430.0F, 780.0F, 2000.0F}) {
        for (const double k : {0.02, 0.12, 0.4}) {
            measure::SparkInputs in;
            in.value = {63.7e3, 65.6e3, 120, 130, k};
            in.primary_capacitance_f = 118e-9;
            in.secondary_capacitance_f = 30e-12;
            const auto figures = measure::spark_figures(in);
            ASSERT_TRUE(figures.ok());
            TextCanvas canvas;
            const Rect area{10, 20, 10 + width, 300};
            draw_spark_exchange(canvas, area, *figures, light_theme(), 1);
            expect_readable(canvas, area, std::to_string(width) + " wide, k " + std::to_string(k));
            EXPECT_GE(canvas.lines, 6);
            const auto begins = [&](const std::string& words) {
                return std::any_of(canvas.texts.begin(), canvas.texts.end(),
                                   [&](const auto& t) { return t.first.starts_with(words); });
            };
            EXPECT_TRUE(begins("tank voltage"));
            EXPECT_EQ(begins("first transfer"), figures->exchange.first_transfer() != nullptr);
            EXPECT_TRUE(begins("limit without loss") || width < 500);
        }
    }
}

}  // namespace
}  // namespace coldtune::gui
