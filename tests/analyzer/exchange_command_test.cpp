// coldtune exchange, from results and from plain values.
#include <gtest/gtest.h>

#include <cstdio>
#include <nlohmann/json.hpp>
#include <numbers>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "tests/support/command_line.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using Json = nlohmann::json;

using testing::Said;

Said exchange(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), "exchange");
    return testing::coldtune(arguments);
}

const char* const kFoot =
    R"({"schema":"coldtune.result.v1","verdict":"good","hookup":"foot","resonance":{"way":"in-band",
    "frequency_hz":66000,"frequency_u95_hz":10,"q":130,"q_u95":1}})";
const char* const kBelow =
    R"({"schema":"coldtune.result.v1","verdict":"good","hookup":"foot","resonance":{"way":"below-band",
    "frequency_hz":166000,"frequency_u95_hz":500,"q":null,"q_u95":null}})";
const char* const kTank =
    R"({"schema":"coldtune.result.v1","verdict":"good","hookup":"tank","resonance":{"way":"in-band",
    "frequency_hz":65000,"frequency_u95_hz":20,"q":80,"q_u95":2}})";
const char* const kWinding =
    R"({"schema":"coldtune.result.v1","verdict":"good","hookup":"winding","resonance":null,
    "coupling":{"k":0.13,"k_u95":0.001}})";
const char* const kPair =
    R"({"schema":"coldtune.result.v1","verdict":"good","hookup":"foot","resonance":null,"pair":{
    "primary_frequency_hz":65000,"primary_frequency_u95_hz":10,"secondary_frequency_hz":66000,
    "secondary_frequency_u95_hz":10,"primary_q":80,"primary_q_u95":1,"secondary_q":130,"secondary_q_u95":1,"k":0.14,
    "k_u95":0.0001}})";
const char* const kRejected =
    R"({"schema":"coldtune.result.v1","verdict":"rejected","hookup":"foot","resonance":null,"pair":null})";
const char* const kCoil =
    R"({"secondary":{"diameter":"160mm","length":"750mm","turns":2500,"wire":"0.25mm","base_height":"150mm"},
    "topload":{"shape":"toroid","outer_diameter":"60cm","tube_diameter":"15cm","height":"6cm"},
    "primary":{"inner_diameter":"26cm","pitch":"16mm","turns":14,"conductor":"8mm","base_height":"15cm"},
    "tank":{"capacitance":"100n","tap_turns":11,"lead_inductance":"0.5u"}})";

TEST(ExchangeCommand, PlainValues) {
    const Said said = exchange({"--f1", "100k", "--f2", "100k", "--q1", "60", "--q2", "150", "--k", "0.1", "--c1",
                                "40n", "--c2", "25p", "--json", "--envelopes"});
    ASSERT_EQ(said.code, 0) << said.err;
    const Json j = Json::parse(said.out);
    EXPECT_EQ(j["schema"], "coldtune.exchange.v1");
    // 1/(2k) cycles (textbook, lossless, from memory). Unequal losses let the tank's notch come before half a beat: by
    // the part of a beat whose sine is (1/Q1 - 1/Q2) / (2 k), 0.05, over pi / 2.
    EXPECT_NEAR(j["first_transfer"]["cycles"].get<double>(), 5 * (1 - 0.05 * 2 / std::numbers::pi), 0.05);
    EXPECT_DOUBLE_EQ(j["voltage_ratio"]["limit_by_capacitance"].get<double>(), 40);
    EXPECT_EQ(j["envelopes"]["time_s"].size(), j["envelopes"]["primary_voltage"].size());
    const Said text = exchange({"--f1", "100k", "--f2", "100k", "--q1", "60", "--q2", "150", "--k", "10%"});
    ASSERT_EQ(text.code, 0) << text.err;
    EXPECT_NE(text.out.find("streamers change it"), std::string::npos);
    EXPECT_NE(text.out.find("first transfer"), std::string::npos);
    EXPECT_NE(text.out.find("as given: --f1\n"), std::string::npos);
}

TEST(ExchangeCommand, ResultsOfMeasurements) {
    const testing::ScratchFolder folder;
    const std::string foot = folder.put("foot.json", kFoot), tank = folder.put("tank.json", kTank),
                      winding = folder.put("winding.json", kWinding), coil = folder.put("coil.json", kCoil),
                      pair = folder.put("pair.json", kPair);
    const Said said =
        exchange({"--secondary", foot.c_str(), "--primary", tank.c_str(), "--winding", winding.c_str(), "--json"});
    ASSERT_EQ(said.code, 0) << said.err;
    const Json j = Json::parse(said.out);
    EXPECT_EQ(j["inputs"]["secondary_q"], 130);
    EXPECT_EQ(j["inputs"]["primary_frequency_hz"], 65000);
    EXPECT_EQ(j["inputs"]["k"], 0.13);
    EXPECT_GT(j["first_transfer"]["time_u95_s"].get<double>(), 0);
    EXPECT_TRUE(j["voltage_ratio"]["with_losses"].is_null());
    // The description turns the uniform coupling into the pair's, and knows both capacitances.
    const Said described = exchange({"--secondary", foot.c_str(), "--primary", tank.c_str(), "--winding",
                                     winding.c_str(), "--coil", coil.c_str(), "--json"});
    ASSERT_EQ(described.code, 0) << described.err;
    const Json d = Json::parse(described.out);
    EXPECT_GT(d["inputs"]["k"].get<double>(), 0.13);
    EXPECT_LT(d["inputs"]["k"].get<double>(), 0.15);
    EXPECT_GT(d["voltage_ratio"]["with_losses"].get<double>(), 10);
    // A capacitance that replaces the described one is told: a slipped prefix would change nothing but the ratio.
    const Said other = exchange({"--secondary", foot.c_str(), "--primary", tank.c_str(), "--winding", winding.c_str(),
                                 "--coil", coil.c_str(), "--c1", "10n", "--json"});
    ASSERT_EQ(other.code, 0) << other.err;
    EXPECT_NE(other.out.find("as given: --c1, in place of what the description says"), std::string::npos);
    const Said both = exchange({"--pair", pair.c_str(), "--json"});
    ASSERT_EQ(both.code, 0) << both.err;
    EXPECT_EQ(Json::parse(both.out)["inputs"]["k"], 0.14);
    // A value on the command line goes before one from a file.
    const Said over = exchange({"--pair", pair.c_str(), "--q1", "30", "--json"});
    ASSERT_EQ(over.code, 0) << over.err;
    EXPECT_EQ(Json::parse(over.out)["inputs"]["primary_q"], 30);
    EXPECT_NE(over.out.find("as given: --q1, in place of what the results say"), std::string::npos);
}

TEST(ExchangeCommand, WhatIsMissingOrWrongIsSaid) {
    const testing::ScratchFolder folder;
    const std::string foot = folder.put("foot.json", kFoot), below = folder.put("below.json", kBelow),
                      bad = folder.put("bad.json", kRejected), tank = folder.put("tank.json", kTank);
    const Said missing = exchange({"--secondary", foot.c_str(), "--primary", tank.c_str()});
    EXPECT_EQ(missing.code, 2);
    EXPECT_NE(missing.err.find("--k"), std::string::npos) << missing.err;
    const Said one = exchange({"--secondary", foot.c_str(), "--primary", tank.c_str(), "--k", "0.1", "--c1", "40n"});
    EXPECT_EQ(one.code, 2);
    EXPECT_NE(one.err.find("give --c2 as well"), std::string::npos) << one.err;
    const Said no_q = exchange({"--secondary", below.c_str(), "--primary", tank.c_str(), "--k", "0.1"});
    EXPECT_EQ(no_q.code, 3);
    EXPECT_NE(no_q.err.find("--q2"), std::string::npos) << no_q.err;
    EXPECT_EQ(exchange({"--secondary", below.c_str(), "--primary", foot.c_str(), "--k", "0.1", "--q2", "100"}).code, 3);
    const Said zero = exchange({"--f1", "100k", "--f2", "100k", "--q1", "60", "--q2", "150", "--k", "0"});
    EXPECT_EQ(zero.code, 2);
    EXPECT_NE(zero.err.find("--k must be more than 0"), std::string::npos) << zero.err;
    EXPECT_EQ(exchange({"--pair", bad.c_str()}).code, 4);
    EXPECT_EQ(exchange({"--pair", foot.c_str()}).code, 3);
    EXPECT_EQ(exchange({"--winding", foot.c_str()}).code, 3);
    EXPECT_EQ(exchange({"--f1", "100k", "--f2", "100k", "--q1", "60", "--q2", "150", "--k", "2"}).code, 3);
    EXPECT_TRUE(exchange({"--pair", bad.c_str(), "--json"}).out.empty());
    // Edited by hand: no half-width, one that is none, no verdict.
    for (const auto& [from, to] : {std::pair{"\"frequency_u95_hz\":20,", ""}, std::pair{"u95_hz\":20", "u95_hz\":-5"},
                                   std::pair{"u95_hz\":20", "u95_hz\":66000"}, std::pair{"q_u95\":2", "q_u95\":null"},
                                   std::pair{"\"verdict\":\"good\",", ""}}) {
        std::string text = kTank;
        const auto at = text.find(from);
        ASSERT_NE(at, std::string::npos) << from;
        const std::string edited = folder.put("edited.json", text.replace(at, std::string_view(from).size(), to));
        const Said said = exchange({"--secondary", foot.c_str(), "--primary", edited.c_str(), "--k", "0.1"});
        EXPECT_EQ(said.code, 3) << text << said.out;
        EXPECT_NE(said.err.find("edited.json"), std::string::npos) << said.err;
    }
}

}  // namespace
}  // namespace coldtune
