// Loading series from captures of a simulated bench, through the library and through the command.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <fstream>
#include <nlohmann/json.hpp>

#include "analyzer/cli/loading_text.hpp"
#include "analyzer/cli/run.hpp"
#include "analyzer/measure/loading_json.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/loading_rig.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using measure::FindingCode;
using measure::LoadingRequest;
using measure::LoadingResult;
using measure::Verdict;
using test::SweepShape;
using ::testing::HasSubstr;

// 96 kHz, 2 s: 3 Hz between lines, some twenty of them across the narrowest resonance here.
SweepShape sweep() {
    SweepShape shape;
    shape.rate_hz = 96000;
    shape.period = 32768;
    shape.periods = 6;
    return shape;
}

const char* const kCoilJson = R"({"secondary": {"diameter": "200mm", "length": "950mm", "turns": 1620, "wire": "0.45mm",
    "base_height": "250mm"}, "topload": {"shape": "toroid", "outer_diameter": "600mm", "tube_diameter": "160mm",
    "height": "120mm"}})";

model::CoilDescription described_coil() {
    auto coil = test::coil_of(0.2, 0.95, 1620, true);
    coil.secondary.wire_diameter_m = 0.45e-3;
    return coil;
}

struct TrueCoil {
    audio::Bench bench;
    double inductance_h, frequency_hz;
};

// Not quite what is described, -100 dBFS of noise, 150 pF of cable.
TrueCoil true_coil() {
    TrueCoil out;
    audio::CoilOnBench coil;
    coil.description = described_coil();
    coil.deviation.diameter = 1.04;
    coil.deviation.length = 0.97;
    coil.deviation.turns = 0.98;
    coil.deviation.topload = 1.03;
    coil.q = 140;
    coil.sections = 32;
    out.bench.coil = coil;
    out.bench.interface.sample_rate_hz = 96000;
    out.bench.wiring.reference_ohm = 10.04e3;
    out.bench.wiring.coil_input.gain = 0.995;
    auto description = coil.description;
    description.secondary.diameter_m *= 1.04;
    description.secondary.length_m *= 0.97;
    description.secondary.turns *= 0.98;
    auto& toroid = std::get<model::Toroid>(description.topload.front());
    toroid.outer_diameter_m *= 1.03;
    toroid.tube_diameter_m *= 1.03;
    model::ModelOptions options;
    options.sections = 32;
    const auto model = model::SecondaryModel::build(description, options);
    if (!model) throw std::runtime_error(model.error().message);
    out.inductance_h = model->branch_inductance_h().sum();
    out.frequency_hz = model->modes_hz()[0];
    return out;
}

struct Capacitor {
    double printed_f, true_f;
};
const std::vector<Capacitor> kFour = {
    {150e-12, 150.9e-12}, {220e-12, 218.6e-12}, {470e-12, 472.2e-12}, {1e-9, 0.994e-9}};

audio::CaptureFile loaded_capture(audio::Bench bench, double loading_f) {
    bench.loading_f = loading_f;
    bench.seed = static_cast<std::uint64_t>(loading_f * 1e13) + 3;
    return test::capture(bench, audio::Hookup::foot, sweep());
}

LoadingRequest foot_request(const TrueCoil& coil, const std::vector<Capacitor>& capacitors) {
    LoadingRequest request;
    request.bench = test::request_for(coil.bench, {});
    request.bench.description = described_coil();
    for (const Capacitor& c : capacitors) {
        request.points.push_back({c.printed_f, 0.01 * c.printed_f, loaded_capture(coil.bench, c.true_f),
                                  record::format_quantity(c.printed_f, record::Unit::farad, 3) + ".wav"});
    }
    return request;
}

std::string said(const LoadingResult& loading) {
    std::string out;
    for (const auto& f : loading.result.findings) out += std::string(measure::code_name(f.code)) + ": " + f.text + "\n";
    return out;
}

void expect_no_number(const LoadingResult& loading) {
    EXPECT_EQ(loading.result.verdict(), Verdict::rejected);
    EXPECT_EQ(loading.result.resonance(), nullptr);
    EXPECT_FALSE(loading.model.has_value() || loading.straight_line.has_value());
    const auto json = measure::to_json(loading);
    EXPECT_TRUE(json["resonance"].is_null() && json["winding"].is_null() && json["difference_percent"].is_null());
    EXPECT_TRUE(json["loading"]["model"].is_null() && json["loading"]["straight_line"].is_null());
    for (const auto& p : json["loading"]["points"]) {
        EXPECT_TRUE(p["frequency_hz"].is_null() && p["frequency_u95_hz"].is_null() && p["residual_hz"].is_null());
    }
}

TEST(LoadingCaptures, OfASecondaryGiveInductanceAndUnloadedResonance) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, kFour);
    request.bench.open = test::standard(coil.bench, audio::Hookup::open, sweep());
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    ASSERT_NE(loading->result.resonance(), nullptr) << said(*loading);
    EXPECT_EQ(loading->result.verdict(), Verdict::good) << said(*loading);
    const auto& r = *loading->result.resonance();
    EXPECT_EQ(r.way, measure::Way::loading_series);
    EXPECT_FALSE(r.q.has_value() || r.resistance_ohm.has_value());
    EXPECT_LE(std::abs(r.frequency_hz - coil.frequency_hz), r.frequency_u95_hz);
    EXPECT_NEAR(loading->model->inductance_h / coil.inductance_h, 1, 0.01);  // the promised figure
    EXPECT_LE(std::abs(loading->model->inductance_h - coil.inductance_h), loading->model->inductance_u95_h);
    EXPECT_LE(loading->model->inductance_u95_h, 0.015 * coil.inductance_h);  // or the interval says nothing
    std::printf(
        "captures at 96 kHz, 4 capacitors: unloaded %.2f kHz, error %+.2f %% stated %.2f %%; L error %+.2f %% stated "
        "%.2f %%; straight line L %+.2f %%, resonance %+.2f %%\n",
        coil.frequency_hz / 1e3, 100 * (r.frequency_hz / coil.frequency_hz - 1),
        100 * r.frequency_u95_hz / r.frequency_hz, 100 * (loading->model->inductance_h / coil.inductance_h - 1),
        100 * loading->model->inductance_u95_h / coil.inductance_h,
        100 * (loading->straight_line->inductance_h / coil.inductance_h - 1),
        100 * (*loading->straight_line->frequency_hz / coil.frequency_hz - 1));

    const auto json = measure::to_json(*loading);
    EXPECT_EQ(json["schema"], "coldtune.result.v1");
    EXPECT_EQ(json["resonance"]["way"], "loading-series");
    EXPECT_TRUE(json["resonance"]["q"].is_null() && json["resonance"]["resistance_ohm"].is_null());
    EXPECT_EQ(json["winding"]["inductance_h"], loading->model->inductance_h);
    EXPECT_TRUE(json["winding"]["resistance_ohm"].is_null());
    EXPECT_EQ(json["loading"]["points"].size(), 4U);
    EXPECT_EQ(json["loading"]["points"][1]["capacitance_f"], 220e-12);
    EXPECT_EQ(json["loading"]["model"]["frequency_hz"], json["resonance"]["frequency_hz"]);
    EXPECT_TRUE(json["difference_percent"].is_number());
}

TEST(LoadingCaptures, WithoutStandardsAreUncorrectedOnceAndStillCovered) {
    const TrueCoil coil = true_coil();
    const auto loading = measure::analyze_loading(foot_request(coil, kFour));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    ASSERT_NE(loading->result.resonance(), nullptr) << said(*loading);
    ASSERT_EQ(loading->result.findings.size(), 1U) << said(*loading);
    EXPECT_EQ(loading->result.findings[0].code, FindingCode::uncorrected);
    EXPECT_LE(std::abs(loading->model->inductance_h - coil.inductance_h), loading->model->inductance_u95_h);
    EXPECT_LE(std::abs(*loading->model->frequency_hz - coil.frequency_hz), *loading->model->frequency_u95_hz);
    // What was declared instead of measured acts on all points alike.
    std::vector<std::string> sources;
    for (const auto& line : loading->model->budget) sources.push_back(line.source);
    EXPECT_THAT(sources, ::testing::IsSupersetOf({"clock", "reference resistor", "input capacitance", "lead"}));
}

TEST(LoadingCaptures, ASpoiledOneIsNamedWithItsFindingAndNothingIsGiven) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, {kFour[0], kFour[1], kFour[2]});
    audio::Bench clipping = coil.bench;
    clipping.interface.clip_level = 0.2;
    request.points[1].capture = loaded_capture(clipping, 220e-12);
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    expect_no_number(*loading);
    ASSERT_FALSE(loading->result.findings.empty());
    EXPECT_EQ(loading->result.findings[0].code, FindingCode::clipped);
    EXPECT_THAT(loading->result.findings[0].text, HasSubstr("220 pF (220 pF.wav)"));
}

TEST(LoadingCaptures, ACapacitorThatDoesNotBringItIntoTheBandIsNamed) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, {{10e-12, 10e-12}, kFour[1], kFour[2]});
    request.bench.open = test::standard(coil.bench, audio::Hookup::open, sweep());
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    expect_no_number(*loading);
    ASSERT_FALSE(loading->result.findings.empty());
    EXPECT_EQ(loading->result.findings[0].code, FindingCode::outside_band);
    EXPECT_THAT(loading->result.findings[0].text, HasSubstr("with 10.0 pF"));
    EXPECT_THAT(loading->result.findings[0].text, HasSubstr("larger capacitor"));
}

TEST(LoadingCaptures, ContradictingPointsAreRefusedAndTheOddOneNamed) {
    const TrueCoil coil = true_coil();
    LoadingRequest request = foot_request(coil, kFour);
    request.points[2].capacitance_f = 390e-12;  // the 470 pF was typed as its neighbour
    request.points[2].limit_f = 3.9e-12;
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    expect_no_number(*loading);
    EXPECT_THAT(said(*loading), HasSubstr("the odd one is 390 pF"));
}

TEST(LoadingCaptures, OfATankGiveItsInductanceAndResonanceWithoutADescription) {
    audio::Bench bench;
    bench.interface.sample_rate_hz = 96000;
    bench.coil = test::series_coil(90e3, 150, 60e-3, 8e-12);  // not connected here
    bench.tank = {60e-6, 0.08, 330e-9};
    LoadingRequest request;
    request.bench = test::request_for(bench, {}, measure::Hookup::tank);
    for (const Capacitor c : {Capacitor{0, 0}, {220e-9, 219e-9}, {470e-9, 472e-9}, {1e-6, 1.004e-6}}) {
        audio::Bench loaded = bench;
        loaded.tank.capacitance_f += c.true_f;
        loaded.seed = static_cast<std::uint64_t>(c.true_f * 1e12) + 5;
        request.points.push_back(
            {c.printed_f, 0.01 * c.printed_f, test::capture(loaded, audio::Hookup::tank, sweep()), "t"});
    }
    test::add_standards(request.bench, bench, sweep());
    const auto loading = measure::analyze_loading(std::move(request));
    ASSERT_TRUE(loading.ok()) << loading.error().message;
    ASSERT_NE(loading->result.resonance(), nullptr) << said(*loading);
    EXPECT_FALSE(loading->model.has_value());
    EXPECT_FALSE(loading->result.calculated.has_value());
    EXPECT_LE(std::abs(loading->straight_line->inductance_h - 60e-6), loading->straight_line->inductance_u95_h);
    EXPECT_LE(std::abs(*loading->straight_line->capacitance_f - 330e-9), *loading->straight_line->capacitance_u95_f);
    const double truth = 1 / (2 * std::numbers::pi * std::sqrt(60e-6 * 330e-9));
    // Loss moves a tank's peak from the undamped resonance by 1/(2 Q^2) at most, 30 ppm here.
    EXPECT_NEAR(loading->result.resonance()->frequency_hz / truth, 1, 100e-6);
}

TEST(LoadingRequests, ThatMakeNoSenseAreUsageErrors) {
    const auto fails = [](LoadingRequest request, const char* part) {
        const auto result = measure::analyze_loading(std::move(request));
        ASSERT_FALSE(result.ok()) << part;
        EXPECT_EQ(result.error().kind, ErrorKind::usage) << result.error().message;
        EXPECT_THAT(result.error().message, HasSubstr(part));
    };
    const auto request = [](measure::Hookup hookup, std::vector<std::pair<double, double>> points) {
        LoadingRequest r;
        r.bench.hookup = hookup;
        r.bench.bench.reference_ohm = 10e3;
        r.bench.description = described_coil();
        for (const auto& [c, limit] : points) r.points.push_back({c, limit, {}, "x.wav"});
        return r;
    };
    using measure::Hookup;
    const std::vector<std::pair<double, double>> two = {{100e-12, 1e-12}, {220e-12, 2e-12}};
    fails(request(Hookup::winding, two), "winding has no loading series");
    fails(request(Hookup::foot, {{100e-12, 1e-12}}), "1 point given");
    fails(request(Hookup::foot, {}), "0 points given");
    fails(request(Hookup::foot, {two[0], two[0]}), "100 pF was already given");
    fails(request(Hookup::foot, {two[0], {-1e-12, 0}}), "x.wav: the capacitor");
    fails(request(Hookup::foot, {two[0], {1, 0}}), "x.wav: the capacitor");
    fails(request(Hookup::foot, {two[0], {220e-12, 200e-12}}), "x.wav: the tolerance");
    fails(request(Hookup::foot, {two[0], {std::nan(""), 0}}), "x.wav: the capacitor");
    LoadingRequest undescribed = request(Hookup::foot, two);
    undescribed.bench.description.reset();
    fails(undescribed, "--coil");
    LoadingRequest lead = request(Hookup::foot, two);
    lead.lead_limit_f = -1e-12;
    fails(lead, "leads");
}

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

struct Ran {
    int code;
    std::string out, err;
};

Ran run(const std::vector<std::string>& arguments) {
    std::vector<const char*> argv = {"coldtune"};
    for (const std::string& a : arguments) argv.push_back(a.c_str());
    std::FILE* out = std::tmpfile();
    std::FILE* err = std::tmpfile();
    Ran ran;
    ran.code = cli::run(static_cast<int>(argv.size()), argv.data(), out, err);
    const auto text = [](std::FILE* file) {
        std::rewind(file);
        std::string all;
        for (int c = std::fgetc(file); c != EOF; c = std::fgetc(file)) all.push_back(static_cast<char>(c));
        std::fclose(file);
        return all;
    };
    ran.out = text(out);
    ran.err = text(err);
    return ran;
}

TEST(LoadingCommand, PrintsOneObjectAndTheExitCodesOfTheContract) {
    const coldtune::testing::ScratchFolder folder;
    const TrueCoil coil = true_coil();
    const std::string coil_path = folder.put("coil.json", kCoilJson).string();
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

    const Ran text = run(command);
    EXPECT_EQ(text.code, 0) << text.err;
    EXPECT_THAT(text.out, HasSubstr("loading-series"));
    EXPECT_THAT(text.out, HasSubstr("straight line"));
    EXPECT_TRUE(text.err.empty()) << text.err;

    auto with_json = command;
    with_json.emplace_back("--json");
    const Ran json = run(with_json);
    EXPECT_EQ(json.code, 0);
    const auto object = nlohmann::json::parse(json.out);
    EXPECT_EQ(object["verdict"], "caution");  // no standard was used
    EXPECT_NEAR(object["winding"]["inductance_h"].get<double>() / coil.inductance_h, 1, 0.015);
    EXPECT_EQ(object["loading"]["points"].size(), 3U);

    // The middle capacitor is said to be a quarter larger: refused, with the object and one line.
    auto odd = with_json;
    odd[10].replace(0, odd[10].find('='), "590p");
    const Ran refused = run(odd);
    EXPECT_EQ(refused.code, 4);
    EXPECT_TRUE(nlohmann::json::parse(refused.out)["resonance"].is_null());
    EXPECT_EQ(std::count(refused.err.begin(), refused.err.end(), '\n'), 1);

    auto missing = with_json;
    missing[10] = "470p=" + (folder / "nothing.wav").string();
    const Ran unreadable = run(missing);
    EXPECT_EQ(unreadable.code, 3);
    EXPECT_EQ(nlohmann::json::parse(unreadable.out)["findings"][0]["code"], "unreadable");

    EXPECT_EQ(run({"loading", "--reference", "10k", "--point", "100p=x.wav", "--point", "rubbish"}).code, 2);
    EXPECT_EQ(run({"loading", "--coil", coil_path, "--point", "100p=x.wav"}).code, 2);  // no reference
    EXPECT_EQ(run({"loading", "--coil", coil_path, "--reference", "10k", "--tolerance", "60%", "--point", "1p=x"}).code,
              2);
    const Ran help = run({"loading", "--help"});
    EXPECT_EQ(help.code, 0);
    EXPECT_THAT(help.out, HasSubstr("--point"));
}

}  // namespace
}  // namespace coldtune
