// coldtune loading: how points are typed, what comes out, which exit code.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "analyzer/cli/loading_text.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/loading_bench.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using test::Capacitor;
using test::kFour;
using test::loaded_capture;
using test::TrueCoil;
using testing::coldtune;
using ::testing::HasSubstr;
using testing::Said;

TEST(LoadingPoints, AreReadAsTyped) {
    const auto point = [](const char* text) {
        const auto p = cli::parse_point(text, 0.01);
        EXPECT_TRUE(p.ok()) << text << ": " << (p ? "" : p.error().message);
        return p ? *p : measure::LoadingPoint{};
    };
    EXPECT_DOUBLE_EQ(point("100p=a.wav").capacitance_f, 100e-12);
    EXPECT_DOUBLE_EQ(point("100p=a.wav").limit_f, 1e-12);
    EXPECT_EQ(point("100p=a=b.wav").file, "a=b.wav");
    EXPECT_DOUBLE_EQ(point("4n7+-2%=a.wav").limit_f, 0.02 * 4.7e-9);
    EXPECT_DOUBLE_EQ(point("8p2+-0.5p=a.wav").limit_f, 0.5e-12);
    EXPECT_DOUBLE_EQ(point("1n+-500ppm=a.wav").limit_f, 0.5e-12);
    EXPECT_DOUBLE_EQ(point("0=a.wav").capacitance_f, 0);
    EXPECT_DOUBLE_EQ(point("0=a.wav").limit_f, 0);
    for (const char* bad :
         {"100p", "=a.wav", "100p=", "100x=a.wav", "100p+-=a.wav", "100p+-2x=a.wav", "", "100p~1%=a.wav"}) {
        const auto p = cli::parse_point(bad, 0.01);
        ASSERT_FALSE(p.ok()) << bad;
        EXPECT_EQ(p.error().kind, ErrorKind::usage);
        EXPECT_THAT(p.error().message, HasSubstr("--point"));
        EXPECT_EQ(p.error().message.find('\n'), std::string::npos);
    }
}

TEST(LoadingCommand, PrintsOneObjectAndTheExitCodesOfTheContract) {
    const coldtune::testing::ScratchFolder folder;
    const TrueCoil coil = test::true_coil();
    const std::string coil_path = folder.put("coil.json", test::kCoilJson).string();
    std::vector<std::string> points;
    for (const Capacitor& c : {kFour[0], kFour[2], kFour[3]}) {
        const auto file = loaded_capture(coil.bench, c.true_f);
        const std::string printed = record::format_quantity(c.printed_f, record::Unit::farad, 3);
        const auto path = folder / (std::to_string(points.size()) + ".wav");
        ASSERT_TRUE(audio::write_capture(path, file.capture, audio::SampleFormat::pcm24, std::nullopt).ok());
        points.insert(points.end(), {"--point", printed + "=" + path.string()});
    }
    std::vector<std::string> command = {"loading", "--coil", coil_path, "--reference", "10k", "--period", "32768"};
    command.insert(command.end(), points.begin(), points.end());

    const Said text = coldtune(command);
    EXPECT_EQ(text.code, 0) << text.err;
    EXPECT_THAT(text.out, HasSubstr("loading-series"));
    EXPECT_THAT(text.out, HasSubstr("straight line"));
    EXPECT_TRUE(text.err.empty()) << text.err;

    auto with_json = command;
    with_json.emplace_back("--json");
    const Said json = coldtune(with_json);
    EXPECT_EQ(json.code, 0);
    const auto object = nlohmann::json::parse(json.out);
    EXPECT_EQ(object["verdict"], "caution");  // no standard was used
    EXPECT_NEAR(object["winding"]["inductance_h"].get<double>() / coil.inductance_h, 1, 0.015);
    EXPECT_EQ(object["loading"]["points"].size(), 3U);

    // The middle capacitor is said to be a quarter larger: refused, with the object and one line.
    auto odd = with_json;
    odd[10].replace(0, odd[10].find('='), "590p");
    const Said refused = coldtune(odd);
    EXPECT_EQ(refused.code, 4);
    EXPECT_TRUE(nlohmann::json::parse(refused.out)["resonance"].is_null());
    EXPECT_EQ(std::count(refused.err.begin(), refused.err.end(), '\n'), 1);

    auto missing = with_json;
    missing[10] = "470p=" + (folder / "nothing.wav").string();
    const Said unreadable = coldtune(missing);
    EXPECT_EQ(unreadable.code, 3);
    EXPECT_EQ(nlohmann::json::parse(unreadable.out)["findings"][0]["code"], "unreadable");

    EXPECT_EQ(coldtune({"loading", "--reference", "10k", "--point", "100p=x.wav", "--point", "rubbish"}).code, 2);
    EXPECT_EQ(coldtune({"loading", "--coil", coil_path, "--point", "100p=x.wav"}).code, 2);  // no reference
    EXPECT_EQ(
        coldtune({"loading", "--coil", coil_path, "--reference", "10k", "--tolerance", "60%", "--point", "1p=x"}).code,
        2);
    const Said help = coldtune({"loading", "--help"});
    EXPECT_EQ(help.code, 0);
    EXPECT_THAT(help.out, HasSubstr("--point"));
}

}  // namespace
}  // namespace coldtune
