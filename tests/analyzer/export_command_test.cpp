// coldtune export: every kind, round trips through the command, and refusals in one line.
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <string>

#include "analyzer/measure/kept_result.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/share/response_file.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using Json = nlohmann::ordered_json;
using testing::bytes_of;
using testing::coldtune;
using testing::Said;

constexpr const char* kCoil = R"({"name": "a <coil> & more", "secondary": {"diameter": "110mm", "length": "50cm",
    "turns": 1000, "wire": "0.4mm", "base_height": "15cm"}})";

class ExportCommand : public ::testing::Test {
protected:
    static void SetUpTestSuite() {
        folder_ = new testing::ScratchFolder;
        bench::Bench bench;
        bench.coil = test::series_coil(62e3, 60, 60e-3, 8e-12);
        test::SweepShape shape;
        shape.period = 32000;
        shape.periods = 4;
        auto request = test::request_for(bench, test::capture(bench, bench::Hookup::foot, shape));
        request.open = test::standard(bench, bench::Hookup::open, shape);
        const auto result = measure::analyze(request);
        ASSERT_TRUE(result.ok());
        folder_->put("foot.json", measure::to_json(*result, true).dump());
        folder_->put("bare.json", measure::to_json(*result, false).dump());
        measure::MeasurementResult rejection = *result;
        rejection.outcome = measure::Rejected{};
        rejection.findings = {{measure::FindingCode::clipped, measure::Weight::reject, "input 1 is clipped"}};
        folder_->put("rejected.json", measure::to_json(rejection, true).dump());
        rejection.findings = {{measure::FindingCode::outside_band, measure::Weight::reject, "it lies above the band"}};
        folder_->put("outside.json", measure::to_json(rejection, true).dump());
        folder_->put("coil.json", kCoil);
    }
    static void TearDownTestSuite() {
        delete folder_;
        folder_ = nullptr;
    }
    static std::string at(const std::string& name) { return (*folder_ / name).string(); }
    static Said exported(const std::string& from, const std::string& to, std::vector<std::string> more = {}) {
        std::vector<std::string> arguments = {"export", at(from), "--out", at(to)};
        arguments.insert(arguments.end(), more.begin(), more.end());
        return coldtune(arguments);
    }
    static testing::ScratchFolder* folder_;
};
testing::ScratchFolder* ExportCommand::folder_ = nullptr;

void expect_same(const measure::Curve& a, const measure::Curve& b, double tolerance) {
    ASSERT_EQ(a.frequency_hz, b.frequency_hz);
    for (std::size_t k = 0; k < a.frequency_hz.size(); ++k) {
        ASSERT_LT(std::abs(a.impedance_ohm[k] - b.impedance_ohm[k]), tolerance * std::abs(a.impedance_ohm[k])) << k;
    }
}

TEST_F(ExportCommand, EveryResponseComesBackByItsOwnReader) {
    const auto result = measure::read_kept_result(at("foot.json"));
    ASSERT_TRUE(result.ok());
    for (const char* name : {"a.s1p", "a.ts", "a.csv"}) {
        ASSERT_EQ(exported("foot.json", name, {"--reference", "10k"}).code, 0) << name;
        const auto back = share::read_response(at(name));
        ASSERT_TRUE(back.ok()) << back.error().message;
        // A table holds the very doubles; S against 10 kohm loses few digits.
        expect_same(result->curve, *back, std::string(name) == "a.csv" ? 1e-300 : 1e-12);
    }
    for (const char* name : {"z.s1p", "z.ts"}) {
        ASSERT_EQ(exported("foot.json", name, {"--parameter", "z", "--reference", "75"}).code, 0);
        const auto back = share::read_response(at(name));
        ASSERT_TRUE(back.ok()) << back.error().message;
        expect_same(result->curve, *back, 1e-15);
    }
    // And through each other: a response of others is converted without an analysis.
    ASSERT_EQ(exported("z.ts", "b.csv").code, 0);
    ASSERT_EQ(exported("b.csv", "b.s1p", {"--parameter", "z"}).code, 0);
    const auto back = share::read_response(at("b.s1p"));
    ASSERT_TRUE(back.ok());
    expect_same(result->curve, *back, 1e-15);
    const std::string head = bytes_of(at("a.s1p")).substr(0, 600);
    for (const char* word : {"! Written by coldtune ", "! From foot.json", "! Hookup foot", "! Verdict",
                             "! Resonance 62.0", "# Hz S RI R 10000"}) {
        EXPECT_NE(head.find(word), std::string::npos) << word << " in\n" << head;
    }
    EXPECT_EQ(bytes_of(at("b.s1p")).find("Verdict"), std::string::npos);  // unknown of a table
}

TEST_F(ExportCommand, PlotNetlistAndJson) {
    ASSERT_EQ(
        exported("foot.json", "p.svg", {"--coil", at("coil.json"), "--over", at("bare.json"), "--band", "50k:70k"})
            .code,
        3);  // bare.json has no curve
    ASSERT_EQ(exported("foot.json", "over.csv").code, 0);
    ASSERT_EQ(exported("foot.json", "a.csv").code, 0);
    const Said plot = exported("foot.json", "p.svg", {"--coil", at("coil.json"), "--over", at("over.csv")});
    ASSERT_EQ(plot.code, 0) << plot.err;
    // The options may stand in front, too.
    ASSERT_EQ(
        coldtune({"export", "--over", at("over.csv"), "--over", at("a.csv"), at("foot.json"), "--out", at("q.svg")})
            .code,
        0);
    EXPECT_NE(bytes_of(at("q.svg")).find("a.csv"), std::string::npos);
    const std::string svg = bytes_of(at("p.svg"));
    for (const char* word : {"measured 62.0", "calculated", "over.csv", "Admittance / S", "Frequency / Hz", "</svg>"}) {
        EXPECT_NE(svg.find(word), std::string::npos) << word;
    }
    const Said netlist = exported("foot.json", "n.txt", {"--as", "spice", "--json"});
    ASSERT_EQ(netlist.code, 0) << netlist.err;
    const Json said = Json::parse(netlist.out);
    EXPECT_EQ(said.at("schema"), "coldtune.export.v1");
    EXPECT_EQ(said.at("kind"), "spice");
    EXPECT_EQ(said.at("bytes").get<std::size_t>(), bytes_of(at("n.txt")).size());
    EXPECT_NE(bytes_of(at("n.txt")).find(".subckt secondary_foot"), std::string::npos);
}

TEST_F(ExportCommand, RefusalsAreOneLineAndLeaveNoFile) {
    struct Bad {
        std::string from, to;
        std::vector<std::string> more;
        int code;
        const char* says;
    };
    folder_->put("kept.s1p", "what was there before");
    ASSERT_EQ(exported("foot.json", "table.csv").code, 0);
    for (const Bad& bad : std::vector<Bad>{
             {"rejected.json", "x.cir", {}, 4, "rejected"},
             {"table.csv", "x.cir", {}, 3, "a response alone says nothing of a resonance"},
             {"foot.json", "x.svg", {"--band", "1M:2M"}, 2, "--band 1M:2M: no curve has two points in it"},
             {"bare.json", "x.svg", {}, 3, "there is no curve in it to plot"},
             {"rejected.json", "x.s1p", {}, 4, "clipped"},
             {"rejected.json", "kept.s1p", {}, 4, "clipped"},
             {"rejected.json", "x.csv", {}, 4, "clipped"},
             {"rejected.json", "x.svg", {}, 4, "clipped"},
             {"outside.json", "x.cir", {}, 4, "rejected"},
             {"bare.json", "x.ts", {}, 3, "no curve"},
             {"gone.json", "x.ts", {}, 3, "gone.json"},
             {"coil.json", "x.ts", {}, 3, "not a result"},
             {"foot.json", "x.doc", {}, 2, "--as"},
             {"foot.json", "x", {}, 2, "--as"},
             {"foot.json", "x.ts", {"--as", "pdf"}, 2, "--as"},
             {"foot.json", "x.ts", {"--parameter", "q"}, 2, "--parameter"},
             {"foot.json", "x.ts", {"--reference", "0"}, 2, "--reference"},
             {"foot.json", "x.ts", {"--reference", "-50"}, 2, "--reference"},
             {"foot.json", "x.ts", {"--coil", at("coil.json")}, 2, "--coil"},
             {"foot.json", "x.svg", {"--band", "9:1"}, 2, "band"},
             {"foot.json", "x.svg", {"--coil", at("gone.json")}, 3, "gone.json"},
             {"foot.json", "no/such/x.ts", {}, 3, "no/such"},
             {"over.csv", "x.cir", {}, 3, "circuit"},
         }) {
        const Said s = exported(bad.from, bad.to, bad.more);
        EXPECT_EQ(s.code, bad.code) << bad.from << ' ' << bad.to << ": " << s.err;
        EXPECT_EQ(s.error_lines(), 1) << s.err;
        EXPECT_EQ(s.out, "");
        EXPECT_NE(s.err.find(bad.says), std::string::npos) << s.err;
        EXPECT_FALSE(std::filesystem::exists(at("x.s1p")) || std::filesystem::exists(at("x.cir")));
    }
    EXPECT_EQ(bytes_of(at("kept.s1p")), "what was there before");
    // A resonance above the band is no fault of the curve.
    EXPECT_EQ(exported("outside.json", "outside.s1p").code, 0);
    // Its plot has no resonance to mark.
    ASSERT_EQ(exported("outside.json", "r.svg").code, 0);
    EXPECT_EQ(bytes_of(at("r.svg")).find("measured"), std::string::npos);
    EXPECT_NE(bytes_of(at("r.svg")).find("rejected"), std::string::npos);
}

}  // namespace
}  // namespace coldtune
