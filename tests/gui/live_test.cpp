// The window's own sweep against the coil behind a real audio server: PortAudio, JACK, and a client that is the coil.
#include <gtest/gtest.h>

#include <chrono>
#include <nlohmann/json.hpp>

#include "tests/gui/virtual_screen.hpp"
#include "tests/support/jack_server.hpp"
#include "tests/support/patience.hpp"

namespace coldtune::testing {
namespace {

using Json = nlohmann::json;

TEST(WindowLive, FindsTheCoilBehindTheAudioServer) {
    const ScratchFolder folder;
    const VirtualScreen screen(folder.path());
    const JackServer server({.rate_hz = 192000, .period_frames = 8192});
    const JackCoil coil({"--frequency", "63000", "--q", "182", "--resistance", "130", "--input-r", "1e6", "--input-c",
                         "150e-12", "--noise-dbfs", "-100", "--seed", "5", "--freewheel"});
    const std::string answer = (folder / "state.json").string();
    const auto script =
        folder.put("script.json", Json({{{"do", "set_field"}, {"key", "bench.input_capacitance"}, {"text", "150p"}},
                                        {{"do", "list_devices"}},
                                        {{"wait", "idle"}},
                                        {{"do", "set_device"}, {"text", coil.name()}},
                                        {{"do", "set_rate"}, {"number", 192000}},
                                        {{"do", "go_sweep"}},
                                        {{"do", "sweep_or_stop"}},
                                        {{"state", (folder / "asked.json").string()}},
                                        {{"do", "acknowledge_cautions"}},
                                        {{"wait", "idle"}, {"seconds", 60 * kPatience}},
                                        {{"state", answer}}})
                                      .dump());
    const auto outcome = run({COLDTUNE_BIN_DIR "/coldtune-window", "--fresh", "--script", script.string()},
                             kPatience * std::chrono::seconds(120));
    ASSERT_EQ(outcome.code, 0) << outcome.errors;
    EXPECT_TRUE(Json::parse(bytes_of(folder / "asked.json"))["cautions_open"].get<bool>())
        << "a real interface is not swept before the cautions are acknowledged";
    const Json state = Json::parse(bytes_of(answer));
    ASSERT_EQ(state["runs"].size(), 1U) << state["complaint"] << outcome.errors;
    const Json& resonance = state["runs"][0]["resonance"];
    ASSERT_FALSE(resonance.is_null()) << state["runs"][0];
    // The aim for live measurements: 200 ppm in frequency, 2 % in Q, against the client's own design values.
    EXPECT_NEAR(resonance["frequency_hz"].get<double>() / coil.frequency_hz(), 1, 200e-6);
    EXPECT_NEAR(resonance["q"].get<double>() / coil.q(), 1, 0.02);
}

}  // namespace
}  // namespace coldtune::testing
