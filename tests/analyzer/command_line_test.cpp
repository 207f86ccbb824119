// The command line as other programs rely on it: exit codes, one line on standard error, one JSON object on standard
// output.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <nlohmann/json.hpp>
#include <numbers>
#include <string>
#include <vector>

#include "analyzer/audio/capture_file.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/comma_locale.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using Json = nlohmann::json;
using testing::coldtune;
using testing::Said;
using testing::ScratchFolder;

constexpr const char* kCoil = R"({"secondary": {"diameter": "200mm", "length": "90cm", "turns": 2700, "wire": "0.25mm",
    "base_height": "15cm"}, "topload": {"shape": "toroid", "outer_diameter": "60cm", "tube_diameter": "12cm", "height": "8cm"}})";

// A short healthy capture of a coil inside the band, on disk.
class CommandLine : public ::testing::Test {
protected:
    void SetUp() override {
        bench::Bench bench;
        bench.coil = test::series_coil(62e3, 150, 60e-3, 8e-12);
        test::SweepShape shape;
        shape.period = 64000;
        shape.periods = 4;
        write("coil.wav", test::capture(bench, bench::Hookup::foot, shape));
        write("open.wav", test::capture(bench, bench::Hookup::open, shape));
        bench.faults.swapped_inputs = true;
        write("swapped.wav", test::capture(bench, bench::Hookup::foot, shape));
        folder_.put("coil.json", kCoil);
    }
    void write(const char* name, const audio::CaptureFile& file) {
        ASSERT_TRUE(audio::write_capture(folder_ / name, file.capture, audio::SampleFormat::pcm24, file.note).ok());
    }
    [[nodiscard]] std::string at(const char* name) const { return (folder_ / name).string(); }

    ScratchFolder folder_;
};

TEST_F(CommandLine, AnalyzePrintsMeasuredBesideCalculatedAsText) {
    const Said s = coldtune({"analyze", at("coil.wav"), "--hookup", "foot", "--reference", "10k", "--coil",
                             at("coil.json"), "--open", at("open.wav"), "--period", "64000", "--budget"});
    EXPECT_EQ(s.code, 0) << s.err;
    EXPECT_EQ(s.err, "");
    // The described coil resonates at 54.4 kHz: what hangs there is another, and that is said.
    for (const char* word : {"measured", "calculated", "difference", "in-band", "verdict", "caution",
                             "above calculated", "noise", "clock"}) {
        EXPECT_NE(s.out.find(word), std::string::npos) << word << " is missing in\n" << s.out;
    }
}

TEST_F(CommandLine, AnalyzeJsonHoldsTheContract) {
    const Said s = coldtune({"analyze", at("coil.wav"), "--hookup", "foot", "--reference", "10k", "--coil",
                             at("coil.json"), "--open", at("open.wav"), "--period", "64000", "--json", "--curve"});
    ASSERT_EQ(s.code, 0) << s.err;
    const Json j = Json::parse(s.out);  // one object and nothing else
    EXPECT_EQ(j.at("schema"), "coldtune.result.v1");
    EXPECT_EQ(j.at("verdict"), "caution");  // another coil than the described one
    ASSERT_TRUE(j.at("findings").is_array());
    EXPECT_EQ(j.at("findings").at(0).at("code"), "no-coil");
    EXPECT_EQ(j.at("usable_band_hz").size(), 2U);
    const Json& r = j.at("resonance");
    EXPECT_EQ(r.at("way"), "in-band");
    EXPECT_NEAR(r.at("frequency_hz").get<double>(), 62e3, 6.2);
    for (const char* key : {"frequency_u95_hz", "q", "q_u95", "resistance_ohm", "resistance_u95_ohm"}) {
        EXPECT_TRUE(r.at(key).is_number()) << key;
    }
    EXPECT_TRUE(j.at("winding").is_null());
    for (const char* key : {"frequency_hz", "frequency_u95_hz", "inductance_h", "capacitance_f", "q"}) {
        EXPECT_TRUE(j.at("calculated").at(key).is_number()) << key;
    }
    EXPECT_TRUE(j.at("difference_percent").is_number());
    EXPECT_EQ(j.at("curve").at("frequency_hz").size(), j.at("curve").at("standard_deviation_ohm").size());
}

TEST_F(CommandLine, ARejectedCaptureGivesNoNumberAnywhere) {
    const Said text =
        coldtune({"analyze", at("swapped.wav"), "--hookup", "foot", "--reference", "10k", "--period", "64000"});
    EXPECT_EQ(text.code, 4);
    EXPECT_EQ(text.error_lines(), 1) << text.err;
    EXPECT_EQ(text.out.find("6200"), std::string::npos) << text.out;
    EXPECT_EQ(text.out.find("62.0"), std::string::npos) << text.out;
    const Said json = coldtune(
        {"analyze", at("swapped.wav"), "--hookup", "foot", "--reference", "10k", "--period", "64000", "--json"});
    EXPECT_EQ(json.code, 4);
    const Json j = Json::parse(json.out);
    EXPECT_EQ(j.at("verdict"), "rejected");
    EXPECT_TRUE(j.at("resonance").is_null());
    EXPECT_TRUE(j.at("difference_percent").is_null());
    EXPECT_EQ(j.at("findings").at(0).at("code"), "inputs-swapped");
}

TEST_F(CommandLine, SilenceIsCalledSilence) {
    audio::CaptureFile silent;
    silent.capture = {96000, std::vector<double>(192000, 0.0), std::vector<double>(192000, 0.0)};
    write("silent.wav", silent);
    const Said s = coldtune({"analyze", at("silent.wav"), "--hookup", "foot", "--reference", "10k"});
    EXPECT_EQ(s.code, 4);
    EXPECT_NE(s.err.find("too-quiet: input 1 holds nothing but silence"), std::string::npos) << s.err;
    EXPECT_EQ(s.out.find("-400"), std::string::npos) << s.out;
}

TEST_F(CommandLine, PredictJsonHoldsTheContract) {
    const Said s = coldtune({"predict", at("coil.json"), "--json", "--profile", "--rate", "96k"});
    ASSERT_EQ(s.code, 0) << s.err;
    const Json j = Json::parse(s.out);
    EXPECT_TRUE(j.at("calculated").at("frequency_hz").is_number());
    EXPECT_EQ(j.at("modes_hz").size(), 4U);
    for (const char* key : {"inductance_h", "capacitance_f", "frequency_hz"})
        EXPECT_TRUE(j.at("handbook").at(key).is_number());
    EXPECT_GT(j.at("head_volts_per_volt").get<double>(), 1);
    EXPECT_EQ(j.at("profile").at("position").size(), j.at("profile").at("voltage").size());
    EXPECT_EQ(j.at("advice").at("way"), "below-band");
    const Said text = coldtune({"predict", at("coil.json")});
    EXPECT_EQ(text.code, 0);
    EXPECT_NE(text.out.find("second opinion"), std::string::npos);
}

TEST_F(CommandLine, PredictTellsThePrimaryAndItsTank) {
    std::ofstream(folder_ / "whole.json") << R"({
        "secondary": {"diameter": "160mm", "length": "750mm", "turns": 2500, "wire": "0.25mm", "base_height": "150mm"},
        "primary": {"inner_diameter": "260mm", "pitch": "16mm", "turns": 12, "conductor": "8mm",
                    "base_height": "120mm"},
        "tank": {"capacitance": "47n", "tap_turns": 9.5, "lead_inductance": "0.5u"}})";
    const Said s = coldtune({"predict", at("whole.json"), "--json"});
    ASSERT_EQ(s.code, 0) << s.err;
    const Json j = Json::parse(s.out);
    const Json& primary = j.at("primary");
    ASSERT_EQ(primary.at("taps").size(), 12U);
    const auto value = [](const Json& from, const char* key) { return from.at(key).get<double>(); };
    double before = 0;
    for (const Json& tap : primary.at("taps")) {
        EXPECT_GT(value(tap, "inductance_h"), before);
        before = value(tap, "inductance_h");
        // Thomson's formula; 1e-12: rounding.
        const double whole = before + 0.5e-6;
        EXPECT_NEAR(value(tap, "tank_hz") * 2 * std::numbers::pi * std::sqrt(whole * 47e-9), 1, 1e-12);
        // k = M / sqrt(L1 L2): one secondary inductance behind every line.
        const double ratio = value(tap, "mutual_h") / value(tap, "coupling");
        EXPECT_NEAR(ratio * ratio / before / value(j.at("calculated"), "low_frequency_inductance_h"), 1, 0.02);
    }
    // Twelve circles of the mean diameter; the slope of a spiral adds under a millimetre a turn.
    EXPECT_NEAR(value(primary.at("taps").back(), "conductor_length_m"), 12 * std::numbers::pi * (0.26 + 11 * 0.016),
                0.02);
    double above = 1;
    for (const Json& height : primary.at("coupling_against_height")) {
        EXPECT_LT(value(height, "coupling"), above);  // it falls as the secondary is raised out of the primary
        above = value(height, "coupling");
    }
    const double tuned = value(primary.at("tank"), "tap_turns_for_secondary");
    EXPECT_GT(tuned, 1);
    EXPECT_LT(tuned, 12);
    const Said text = coldtune({"predict", at("whole.json")});
    EXPECT_NE(text.out.find("coupling against the secondary's height"), std::string::npos);
    char line[40];
    std::snprintf(line, sizeof line, "tap at %.2f turns", tuned);
    EXPECT_NE(text.out.find(line), std::string::npos) << text.out;
    EXPECT_FALSE(Json::parse(coldtune({"predict", at("coil.json"), "--json"}).out).contains("primary"));
}

TEST_F(CommandLine, StimulusIsReadBackByAnalyzeThroughTheSimulatedBench) {
    const Said s = coldtune({"stimulus", "--rate", "96k", "--period", "32768", "--periods", "4", "--band", "1k:43k",
                             "--level", "-6", "--out", at("s.wav"), "--json"});
    ASSERT_EQ(s.code, 0) << s.err;
    const Json j = Json::parse(s.out);
    EXPECT_LE(j.at("peak_dbfs").get<double>(), -5.99);
    EXPECT_GT(j.at("peak_dbfs").get<double>(), -6.01);
    const auto played = audio::read_mono(folder_ / "s.wav");
    ASSERT_TRUE(played.ok());
    EXPECT_EQ(played->sample_rate_hz, 96000);
}

// A capture may be all that is left of an evening; a book's own recordings are nobody's to write over.
TEST_F(CommandLine, NothingIsWrittenOverACaptureUnasked) {
    const std::string kept = at("coil.wav"), before = testing::bytes_of(folder_ / "coil.wav");
    const std::vector<std::string> stimulus = {"stimulus", "--periods", "2", "--period", "4096", "--out"};
    const std::vector<std::string> simulate = {"simulate", at("bench.json"), "--hookup", "foot", "--periods",
                                               "2",        "--period",       "4096",     "--out"};
    folder_.put("bench.json", R"({"circuit": {"inductance": "60mH", "capacitance": "110pF", "resistance": "156ohm"}})");
    std::filesystem::create_directories(folder_ / "b.captures");
    for (const auto& command : {stimulus, simulate}) {
        const auto out = [&](const std::string& file, bool replace) {
            auto arguments = command;
            arguments.push_back(file);
            if (replace) arguments.emplace_back("--replace");
            return coldtune(arguments);
        };
        const Said refused = out(kept, false);
        EXPECT_EQ(refused.code, 2);
        EXPECT_NE(refused.err.find("exists already"), std::string::npos) << refused.err;
        EXPECT_EQ(testing::bytes_of(folder_ / "coil.wav"), before);
        const Said in_a_book = out(at("b.captures") + "/0001-foot.flac", true);
        EXPECT_EQ(in_a_book.code, 2);
        EXPECT_NE(in_a_book.err.find("bench book"), std::string::npos) << in_a_book.err;
        EXPECT_EQ(out(at("again.wav"), true).code, 0);
        EXPECT_EQ(out(at("again.wav"), true).code, 0);
        EXPECT_EQ(out(at("again.wav"), false).code, 2);
    }
}

TEST_F(CommandLine, SimulateThenAnalyzeFindsTheBenchsOwnResonance) {
    folder_.put("bench.json",
                R"({"circuit": {"inductance": "60mH", "capacitance": "109.8pF", "resistance": "156ohm", "stray": "8pF"},
                                  "interface": {"rate": "192kHz", "bits": 24}})");
    for (const char* hookup : {"foot", "open"}) {
        const Said s = coldtune({"simulate", at("bench.json"), "--hookup", hookup, "--period", "64000", "--periods",
                                 "4", "--out", at(hookup) + ".flac"});
        ASSERT_EQ(s.code, 0) << s.err;
    }
    const Said s = coldtune({"analyze", at("foot") + ".flac", "--hookup", "foot", "--reference", "10k", "--open",
                             at("open") + ".flac", "--json"});
    ASSERT_EQ(s.code, 0) << s.err;
    // 1 / (2 pi sqrt(60 mH x 109.8 pF)); the reference here is exact, and the stray moves the zero of the reactance by
    // 12 ppm.
    EXPECT_NEAR(Json::parse(s.out).at("resonance").at("frequency_hz").get<double>(), 62008.2, 62008.2 * 100e-6);
}

// What a bad day brings, each with the exit code of the contract and exactly one line.
struct Bad {
    std::vector<std::string> arguments;
    int code;
    const char* says;  // a word the line must hold
};

TEST_F(CommandLine, BadInputEndsInOneLineAndTheRightCode) {
    folder_.put("empty.wav", "");
    folder_.put("text.wav", "these are no samples, only words\n");
    folder_.put("broken.json", "{\"secondary\": {");
    folder_.put("unknown.json", R"({"secondary": {"diametre": "110mm"}})");
    folder_.put("thick.json", R"({"secondary": {"diameter": "110mm", "length": "10cm", "turns": 1000, "wire": "1mm",
                                  "base_height": "15cm"}, "topload": null})");
    const std::string coil = at("coil.wav");
    const std::vector<std::string> foot = {"--hookup", "foot", "--reference", "10k"};
    const auto analyze = [&](std::string file, std::vector<std::string> more = {}) {
        std::vector<std::string> a = {"analyze", std::move(file)};
        a.insert(a.end(), foot.begin(), foot.end());
        a.insert(a.end(), more.begin(), more.end());
        return a;
    };
    const std::vector<Bad> cases = {
        {{}, 2, "--help"},
        {{"nonsense"}, 2, "nonsense"},
        {{"analyze"}, 2, "CAPTURE"},
        {{"analyze", coil, "--hookup", "foot"}, 2, "--reference"},
        {{"analyze", coil, "--hookup", "elbow", "--reference", "10k"}, 2, "elbow"},
        {{"analyze", coil, "--hookup", "foot", "--reference", "10kk"}, 2, "--reference"},
        {{"analyze", coil, "--hookup", "foot", "--reference", "-10k"}, 2, "reference"},
        {{"analyze", coil, "--hookup", "foot", "--reference", "0"}, 2, "reference"},
        {analyze(coil, {"--period", "7"}), 2, "--period"},
        {analyze(coil, {"--period", "many"}), 2, "--period"},
        {analyze(coil, {"--load", coil}), 2, "--load-value"},
        {analyze(coil, {"--load-value", "10k"}), 2, "--load FILE"},
        {analyze(coil, {"--load-tolerance", "1%"}), 2, "--load-value"},
        {analyze(coil, {"--curve"}), 2, "--json"},
        {analyze(coil, {"--nonsense"}), 2, "nonsense"},
        {analyze(at("missing.wav")), 3, "missing.wav"},
        {analyze(at("empty.wav")), 3, "empty"},
        {analyze(at("text.wav")), 3, "text.wav"},
        {analyze(coil, {"--open", at("missing.wav")}), 3, "missing.wav"},
        {analyze(coil, {"--coil", at("missing.json")}), 3, "missing.json"},
        {analyze(coil, {"--coil", at("broken.json")}), 3, "broken.json"},
        {analyze(coil, {"--coil", at("unknown.json")}), 3, "diametre"},
        {analyze(coil, {"--coil", at("thick.json")}), 3, "wire"},
        {{"predict", at("thick.json")}, 3, "wire"},
        {{"predict", at("coil.json"), "--rate", "1"}, 2, "rate"},
        {{"stimulus", "--out", at("no-such-folder") + "/s.wav"}, 3, "no-such-folder"},
        {{"stimulus", "--level", "3", "--out", at("s.wav")}, 2, "level"},
        {{"stimulus", "--rate", "1e12", "--out", at("s.wav")}, 2, "--rate 1000000000000 Hz is no audio interface's"},
        {{"stimulus", "--rate", "192000.5", "--out", at("s.wav")}, 2, "whole number of hertz"},
        {{"stimulus", "--periods", "1", "--out", at("s.wav")}, 2, "--periods"},
        {{"stimulus", "--band", "86k:1k", "--out", at("s.wav")}, 2, "band"},
        {{"stimulus", "--band", "1k", "--out", at("s.wav")}, 2, "--band"},
        {{"simulate", at("coil.json"), "--hookup", "foot", "--out", at("x.wav")}, 3, "coil.json"},
        {{"simulate", at("coil.json"), "--hookup", "foot", "--out", at("x.wav"), "--stimulus", coil, "--level", "-9"},
         2,
         "--level"},
        {{"measure", "--device", "simulated", "--hookup", "winding", "--reference", "10k", "--coupled", "--out",
          at("x.wav")},
         2,
         "--hookup foot"},
        {{"measure", "--device", "simulated", "--hookup", "foot", "--reference", "10k", "--level", "3", "--out",
          at("x.wav")},
         2,
         "level"},
        // What was recorded is not written over unasked, and a standard never.
        {{"measure", "--device", "simulated", "--hookup", "foot", "--reference", "10k", "--out", coil},
         2,
         "exists already"},
        {{"measure", "--device", "simulated", "--hookup", "foot", "--reference", "10k", "--open", coil, "--replace",
          "--out", coil},
         2,
         "is a standard of this measurement"},
    };
    for (const Bad& bad : cases) {
        std::string typed;
        for (const auto& a : bad.arguments) typed += a + " ";
        SCOPED_TRACE(typed);
        const Said s = coldtune(bad.arguments);
        EXPECT_EQ(s.code, bad.code) << s.err;
        EXPECT_EQ(s.error_lines(), 1) << s.err;
        EXPECT_NE(s.err.find(bad.says), std::string::npos) << s.err;
        EXPECT_EQ(s.out, "") << "a failed command prints no result";
    }
}

TEST_F(CommandLine, AnUnreadableFileIsAFindingInTheJson) {
    folder_.put("text.wav", "words");
    const std::string text = at("text.wav"), coil = at("coil.wav");
    for (const std::vector<std::string>& files :
         {std::vector{text}, {coil, "--open", text}, {coil, "--short", at("none.wav")}, {coil, "--coil", text}}) {
        std::vector<std::string> command = {"analyze", "--hookup", "foot", "--reference", "10k", "--json"};
        command.insert(command.end(), files.begin(), files.end());
        const Said s = coldtune(command);
        EXPECT_EQ(s.code, 3) << s.err;
        const Json j = Json::parse(s.out);
        EXPECT_EQ(j.at("verdict"), "rejected");
        EXPECT_EQ(j.at("findings").at(0).at("code"), "unreadable");
        EXPECT_TRUE(j.at("resonance").is_null());
    }
}

TEST_F(CommandLine, ACaptureThatDoesNotFitWhatIsSaidOfItIsNamedAndInTheJson) {
    const Said s =
        coldtune({"analyze", at("coil.wav"), "--hookup", "foot", "--reference", "10k", "--period", "777", "--json"});
    EXPECT_EQ(s.code, 3) << s.err;
    EXPECT_NE(s.err.find("coil.wav: The signal does not repeat every 777 frames"), std::string::npos) << s.err;
    const Json j = Json::parse(s.out);
    EXPECT_EQ(j.at("verdict"), "rejected");
    EXPECT_EQ(j.at("findings").at(0).at("code"), "unreadable");
    EXPECT_TRUE(j.at("resonance").is_null());
}

TEST_F(CommandLine, OneRecordingCannotStandForTwoThings) {
    const std::string coil = at("coil.wav"), open = at("open.wav");
    const struct {
        std::vector<std::string> standards;
        std::string_view words;
    } cases[] = {{{"--open", coil}, "as the open standard and holds the same recording as the coil"},
                 {{"--short", coil}, "as the short standard and holds the same recording as the coil"},
                 {{"--open", open, "--load", open, "--load-value", "10k"},
                  "as the load standard and holds the same recording as the open standard"}};
    for (const auto& c : cases) {
        std::vector<std::string> command = {"analyze", coil, "--hookup", "foot", "--reference", "10k"};
        command.insert(command.end(), c.standards.begin(), c.standards.end());
        const Said s = coldtune(command);
        EXPECT_EQ(s.code, 4);
        EXPECT_NE(s.err.find(c.words), std::string::npos) << s.err;
    }
}

TEST_F(CommandLine, HelpOfEveryCommandGoesToStandardOutput) {
    for (const char* name :
         {"predict", "devices", "stimulus", "simulate", "measure", "analyze", "loading", "combine"}) {
        const Said s = coldtune({name, "--help"});
        EXPECT_EQ(s.code, 0) << name;
        EXPECT_NE(s.out.find("--json"), std::string::npos) << name << ": " << s.out;
        EXPECT_EQ(s.err, "");
    }
}

TEST_F(CommandLine, MachineOutputDoesNotChangeWithTheLocale) {
    const std::vector<std::string> command = {"predict", at("coil.json"), "--json"};
    const std::string plain = coldtune(command).out;
    const testing::CommaLocale comma;
    EXPECT_EQ(coldtune(command).out, plain);
}

}  // namespace
}  // namespace coldtune
