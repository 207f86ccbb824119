#include "analyzer/record/coil_file.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <initializer_list>
#include <nlohmann/json.hpp>
#include <random>
#include <string>

#include "tests/support/comma_locale.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune::record {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

// An ordinary coil of the trade: about 5:1, 0.45 mm wire, a toroid, a flat primary (invented numbers).
constexpr const char* full = R"({
  "name": "bench coil",
  "secondary": {"diameter": "110mm", "length": "52cm", "turns": 1000, "wire": "0.45mm", "base_height": "20cm",
                "temperature": 23, "wire_overall": "0.51mm"},
  "topload": {"shape": "toroid", "outer_diameter": "40cm", "tube_diameter": "10cm", "height": "8cm"},
  "surroundings": {"ground": true, "wall_radius": 2.5, "ceiling_height": "3m",
                   "strike_ring": {"diameter": "60cm", "tube_diameter": "8mm", "height": "26cm"}},
  "primary": {"inner_diameter": "18cm", "pitch": "15mm", "turns": 9, "conductor": "8mm", "angle": 0,
              "base_height": "18cm"},
  "tank": {"capacitance": "12n", "tap_turns": 7.5, "lead_inductance": "0.4u"},
  "tolerances": {"diameter": "0.5mm", "length": "3mm", "turns": 5, "base_height": "5mm", "topload": "2%",
                 "primary": "3%", "tank_capacitance": "4%", "lead_inductance": "0.2u"}
})";

constexpr const char* bare = R"({"secondary": {"diameter": 0.1, "length": 0.5, "turns": 1000, "wire": "AWG 26",
                                               "base_height": 0.3}})";

std::string refusal(std::string_view text) {
    const auto coil = parse_coil(text, "coil.json");
    if (coil) {
        ADD_FAILURE() << text.substr(0, 200) << " was read";
        return {};
    }
    EXPECT_EQ(coil.error().kind, ErrorKind::bad_input);
    EXPECT_THAT(coil.error().message, StartsWith("coil.json: "));
    EXPECT_THAT(coil.error().message, Not(HasSubstr("\n")));
    return coil.error().message;
}

// `text` with the value at `pointer` (RFC 6901) replaced or added; a discarded value removes it.
std::string with(const char* text, const char* pointer, const nlohmann::ordered_json& value) {
    auto json = nlohmann::ordered_json::parse(text);
    json[nlohmann::ordered_json::json_pointer(pointer)] = value;
    return json.dump();
}
std::string without(const char* text, const std::string& parent, const std::string& key) {
    auto json = nlohmann::ordered_json::parse(text);
    json[nlohmann::ordered_json::json_pointer(parent)].erase(key);
    return json.dump();
}

TEST(CoilFile, ReadsEveryKey) {
    const auto coil = parse_coil(full, "coil.json");
    ASSERT_TRUE(coil.ok()) << coil.error().message;
    EXPECT_EQ(coil->name, "bench coil");
    EXPECT_EQ(coil->secondary.diameter_m, 0.110);
    EXPECT_EQ(coil->secondary.length_m, 0.52);
    EXPECT_EQ(coil->secondary.turns, 1000.0);
    EXPECT_EQ(coil->secondary.wire_diameter_m, 0.45e-3);
    EXPECT_EQ(coil->secondary.base_height_m, 0.2);
    EXPECT_EQ(coil->secondary.temperature_c, 23.0);
    EXPECT_EQ(coil->secondary.overall_wire_diameter_m, 0.51e-3);
    ASSERT_EQ(coil->topload.size(), 1U);
    const auto& toroid = std::get<model::Toroid>(coil->topload[0]);
    EXPECT_EQ(toroid.outer_diameter_m, 0.4);
    EXPECT_EQ(toroid.tube_diameter_m, 0.1);
    EXPECT_EQ(toroid.height_m, 0.08);
    EXPECT_TRUE(coil->surroundings.ground);
    EXPECT_EQ(coil->surroundings.wall_radius_m, 2.5);
    EXPECT_EQ(coil->surroundings.ceiling_height_m, 3.0);
    ASSERT_TRUE(coil->surroundings.strike_ring.has_value());
    EXPECT_EQ(coil->surroundings.strike_ring->diameter_m, 0.6);
    EXPECT_EQ(coil->surroundings.strike_ring->tube_diameter_m, 8e-3);
    EXPECT_EQ(coil->surroundings.strike_ring->height_m, 0.26);
    ASSERT_TRUE(coil->primary.has_value());
    EXPECT_EQ(coil->primary->inner_diameter_m, 0.18);
    EXPECT_EQ(coil->primary->pitch_m, 15e-3);
    EXPECT_EQ(coil->primary->turns, 9.0);
    EXPECT_EQ(coil->primary->conductor_diameter_m, 8e-3);
    EXPECT_EQ(coil->primary->angle_deg, 0.0);
    EXPECT_EQ(coil->primary->base_height_m, 0.18);
    ASSERT_TRUE(coil->tank.has_value());
    EXPECT_EQ(coil->tank->capacitance_f, 12e-9);
    EXPECT_EQ(coil->tank->tap_turns, 7.5);
    EXPECT_EQ(coil->tank->lead_inductance_h, 0.4e-6);
    EXPECT_EQ(coil->tolerances.diameter_m, 0.5e-3);
    EXPECT_EQ(coil->tolerances.length_m, 3e-3);
    EXPECT_EQ(coil->tolerances.turns, 5.0);
    EXPECT_EQ(coil->tolerances.base_height_m, 5e-3);
    EXPECT_EQ(coil->tolerances.topload_relative, 0.02);
    EXPECT_EQ(coil->tolerances.primary_relative, 0.03);
    EXPECT_EQ(coil->tolerances.tank_capacitance_relative, 0.04);
    EXPECT_EQ(coil->tolerances.lead_inductance_h, 0.2e-6);
}

TEST(CoilFile, LeavesOutWhatMayBeLeftOut) {
    const auto coil = parse_coil(bare, "coil.json");
    ASSERT_TRUE(coil.ok()) << coil.error().message;
    EXPECT_EQ(coil->name, "");
    EXPECT_EQ(coil->secondary.temperature_c, 20.0);
    EXPECT_FALSE(coil->secondary.overall_wire_diameter_m.has_value());
    EXPECT_TRUE(coil->topload.empty());
    EXPECT_TRUE(coil->surroundings.ground);
    EXPECT_FALSE(coil->surroundings.wall_radius_m.has_value());
    EXPECT_FALSE(coil->primary.has_value());
    EXPECT_FALSE(coil->tank.has_value());
    EXPECT_FALSE(coil->tolerances.diameter_m.has_value());
    for (const char* key : {"/topload", "/surroundings", "/tank", "/tolerances", "/name", "/secondary/temperature",
                            "/secondary/wire_overall"}) {
        EXPECT_TRUE(parse_coil(with(full, key, nullptr), "coil.json").ok()) << key;
    }
}

TEST(CoilFile, ReadsSphereDiscAndStacks) {
    const auto sphere =
        parse_coil(with(bare, "/topload", {{"shape", "sphere"}, {"diameter", "20cm"}, {"height", "12cm"}}), "c");
    ASSERT_TRUE(sphere.ok()) << sphere.error().message;
    EXPECT_EQ(std::get<model::Sphere>(sphere->topload.at(0)).diameter_m, 0.2);
    const auto disc =
        parse_coil(with(bare, "/topload", {{"shape", "disc"}, {"diameter", "30cm"}, {"height", "5cm"}}), "c");
    ASSERT_TRUE(disc.ok()) << disc.error().message;
    EXPECT_EQ(std::get<model::Disc>(disc->topload.at(0)).height_m, 0.05);
    nlohmann::ordered_json stack = nlohmann::ordered_json::array();
    stack.push_back({{"shape", "toroid"}, {"outer_diameter", 0.4}, {"tube_diameter", 0.1}, {"height", 0.08}});
    stack.push_back({{"shape", "toroid"}, {"outer_diameter", 0.3}, {"tube_diameter", 0.1}, {"height", 0.18}});
    const auto stacked = parse_coil(with(bare, "/topload", stack), "c");
    ASSERT_TRUE(stacked.ok()) << stacked.error().message;
    ASSERT_EQ(stacked->topload.size(), 2U);
    EXPECT_EQ(std::get<model::Toroid>(stacked->topload[1]).height_m, 0.18);
}

TEST(CoilFile, FreeSpaceNeedsNoBaseHeight) {
    EXPECT_THAT(refusal(without(bare, "/secondary", "base_height")), HasSubstr("secondary.base_height: missing"));
    const std::string free_space =
        with(without(bare, "/secondary", "base_height").c_str(), "/surroundings", {{"ground", false}});
    const auto coil = parse_coil(free_space, "coil.json");
    ASSERT_TRUE(coil.ok()) << coil.error().message;
    EXPECT_FALSE(coil->surroundings.ground);
}

TEST(CoilFile, NamesEachMissingKeyByItsPath) {
    for (const char* key : {"diameter", "length", "turns", "wire", "base_height"}) {
        EXPECT_THAT(refusal(without(full, "/secondary", key)),
                    HasSubstr(std::string("secondary.") + key + ": missing"));
    }
    for (const char* key : {"shape", "outer_diameter", "tube_diameter", "height"}) {
        EXPECT_THAT(refusal(without(full, "/topload", key)), HasSubstr(std::string("topload.") + key + ": missing"));
    }
    for (const char* key : {"diameter", "tube_diameter", "height"}) {
        EXPECT_THAT(refusal(without(full, "/surroundings/strike_ring", key)),
                    HasSubstr(std::string("surroundings.strike_ring.") + key + ": missing"));
    }
    for (const char* key : {"inner_diameter", "pitch", "turns", "conductor", "base_height"}) {
        EXPECT_THAT(refusal(without(full, "/primary", key)), HasSubstr(std::string("primary.") + key + ": missing"));
    }
    EXPECT_THAT(refusal(without(full, "/tank", "capacitance")), HasSubstr("tank.capacitance: missing"));
    EXPECT_THAT(refusal("{}"), HasSubstr("secondary: missing"));
}

TEST(CoilFile, RefusesUnknownKeysEverywhere) {
    EXPECT_THAT(refusal(with(full, "/secondary/lenght", 1)),
                HasSubstr("secondary.lenght: unknown key; did you mean \"length\"?"));
    EXPECT_THAT(refusal(with(full, "/toplaod", 1)), HasSubstr("toplaod: unknown key; did you mean \"topload\"?"));
    EXPECT_THAT(refusal(with(full, "/topload/diameter", 1)), HasSubstr("topload.diameter: unknown key"));
    EXPECT_THAT(refusal(with(full, "/surroundings/wall_diameter", 1)),
                HasSubstr("surroundings.wall_diameter: unknown key"));
    EXPECT_THAT(refusal(with(full, "/surroundings/strike_ring/colour", 1)),
                HasSubstr("strike_ring.colour: unknown key"));
    EXPECT_THAT(refusal(with(full, "/primary/turn", 1)),
                HasSubstr("primary.turn: unknown key; did you mean \"turns\"?"));
    EXPECT_THAT(refusal(with(full, "/tank/resistance", 1)), HasSubstr("tank.resistance: unknown key"));
    EXPECT_THAT(refusal(with(full, "/tolerances/wire", 1)), HasSubstr("tolerances.wire: unknown key"));
    EXPECT_THAT(refusal(R"({"secondary": {}, "secondary": {}})"), HasSubstr("stands twice"));
}

TEST(CoilFile, RefusesWrongUnitsAndTypes) {
    EXPECT_THAT(refusal(with(full, "/secondary/length", "52kHz")),
                HasSubstr("secondary.length: \"52kHz\": unexpected 'k' at character 3; write a length like"));
    EXPECT_THAT(refusal(with(full, "/tank/capacitance", "12mm")), HasSubstr("tank.capacitance: \"12mm\""));
    EXPECT_THAT(refusal(with(full, "/secondary/turns", "many")), HasSubstr("secondary.turns: \"many\""));
    EXPECT_THAT(refusal(with(full, "/secondary/diameter", true)),
                HasSubstr("secondary.diameter: a quantity is expected"));
    EXPECT_THAT(refusal(with(full, "/secondary", 3)), HasSubstr("secondary: an object"));
    EXPECT_THAT(refusal(with(full, "/surroundings/ground", "yes")), HasSubstr("surroundings.ground: true or false"));
    EXPECT_THAT(refusal(with(full, "/topload/shape", "cube")),
                HasSubstr("topload.shape: \"cube\" is unknown; known: toroid, sphere, disc"));
    EXPECT_THAT(refusal(with(full, "/topload", "toroid")), HasSubstr("topload: an object"));
    EXPECT_THAT(refusal(with(full, "/name", 5)), HasSubstr("name: a text is expected"));
    EXPECT_THAT(refusal(with(full, "/tolerances/length", -0.001)),
                HasSubstr("tolerances.length: a tolerance is a plus/minus"));
    EXPECT_THAT(refusal(with(full, "/tolerances/topload", 2)), HasSubstr("tolerances.topload: a relative tolerance"));
    EXPECT_THAT(refusal("[]"), HasSubstr("an object"));
    EXPECT_THAT(refusal("{\"secondary\": "), HasSubstr("line 1, column"));
}

TEST(CoilFile, RefusesImpossibleGeometryWithItsKey) {
    EXPECT_THAT(refusal(with(full, "/secondary/diameter", -0.1)), HasSubstr("secondary.diameter"));
    EXPECT_THAT(refusal(with(full, "/secondary/length", 0)), HasSubstr("secondary.length"));
    EXPECT_THAT(refusal(with(full, "/secondary/turns", 0)), HasSubstr("secondary.turns"));
    EXPECT_THAT(refusal(with(full, "/secondary/wire", "2mm")), HasSubstr("secondary.wire"));  // 1000 turns on 52 cm
    EXPECT_THAT(refusal(with(full, "/topload/tube_diameter", "30cm")), HasSubstr("topload"));
}

TEST(CoilFile, RandomMutationsAreReadOrRefused) {
    std::mt19937_64 random(20261125);
    const std::string valid = nlohmann::ordered_json::parse(full).dump();
    std::size_t read = 0;
    for (int round = 0; round < 20000; ++round) {
        std::string text = valid;
        for (std::size_t i = 0; i <= random() % 2; ++i)
            text[random() % text.size()] = "0123456789{}[],:\"-.emk"[random() % 22];
        const auto coil = parse_coil(text, "coil.json");
        if (coil) {
            ++read;
        } else {
            EXPECT_THAT(coil.error().message, StartsWith("coil.json: "));
        }
    }
    EXPECT_GT(read, 300U);  // digits changed within numbers leave many readable (747 of 20000 with this seed)
}

TEST(CoilFile, ReadsFilesInAnyLocale) {
    const testing::ScratchFolder folder;
    const testing::CommaLocale comma;
    const auto coil = read_coil(folder.put("c.json", full));
    ASSERT_TRUE(coil.ok()) << coil.error().message;
    EXPECT_EQ(coil->secondary.wire_diameter_m, 0.45e-3);
    EXPECT_THAT(read_coil(folder / "none.json").error().message, HasSubstr("none.json: there is no such file"));
    EXPECT_THAT(read_coil(folder.put("long.json", std::string(2 << 20, ' '))).error().message,
                HasSubstr("longer than"));
    EXPECT_THAT(read_coil(folder.put("bytes.json", std::string("\0\1\2\xff", 4))).error().message,
                HasSubstr("line 1, column 1"));
}

}  // namespace
}  // namespace coldtune::record
