// Several results on one coil: the estimate where they agree, the finding where they do not, and what is read at all.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <random>

#include "analyzer/cli/run.hpp"
#include "analyzer/measure/combined.hpp"
#include "analyzer/measure/loading_json.hpp"
#include "analyzer/measure/result_json.hpp"
#include "analyzer/measure/shape_family.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/loading_rig.hpp"
#include "tests/support/scratch_folder.hpp"

namespace coldtune {
namespace {

using bench::Hookup;
using measure::combine;
using measure::FindingCode;
using measure::KnownResult;
using measure::KnownValue;
using measure::Verdict;
using ::testing::HasSubstr;

KnownValue known(double value, const std::vector<KnownValue::Part>& parts) {
    KnownValue out;
    out.value = value;
    double variance = 0;
    for (const auto& p : parts) variance += p.relative_u * p.relative_u;
    out.u95 = 2 * value * std::sqrt(variance);
    out.parts = parts;
    return out;
}

KnownResult resonance(const std::string& name, const std::string& way, double f,
                      const std::vector<KnownValue::Part>& parts) {
    KnownResult r;
    r.name = name;
    r.way = way;
    r.resonance = known(f, parts);
    return r;
}

KnownResult winding(const std::string& name, double l, double relative_u) {
    KnownResult r;
    r.name = name;
    r.hookup = Hookup::winding;
    r.inductance = known(l, {{"other", relative_u}});
    return r;
}

TEST(Combined, OfIndependentResultsIsTheWeightedMean) {
    // Weights 1/u^2, variance 1/sum(1/u^2), chi square of the weighted rests: the textbook mean (P. R. Bevington, Data
    // Reduction, chapter 4; from memory), by hand for relative uncertainties of 1 %, 2 % and 2 %: weights 2/3, 1/6,
    // 1/6.
    const auto combined = combine(
        {resonance("a", "in-band", 100e3, {{"noise", 0.01}}), resonance("b", "below-band", 101e3, {{"noise", 0.02}}),
         resonance("c", "loading-series", 102e3, {{"noise", 0.02}})},
        std::nullopt);
    ASSERT_TRUE(combined.ok()) << combined.error().message;
    ASSERT_TRUE(combined->resonance.has_value());
    const double x[3] = {std::log(100e3), std::log(101e3), std::log(102e3)};
    const double mean = (4 * x[0] + x[1] + x[2]) / 6;
    EXPECT_NEAR(std::log(combined->resonance->value), mean, 1e-7);  // the floor of 1e-6 shifts weights by its square
    EXPECT_NEAR(combined->resonance->u95 / combined->resonance->value, 2 * std::sqrt(1 / 15000.0), 1e-7);
    EXPECT_NEAR(combined->statements[0].weight, 4 / 6.0, 1e-6);
    EXPECT_NEAR(combined->statements[2].weight, 1 / 6.0, 1e-6);
    const double chi = 1e4 * std::pow(x[0] - mean, 2) + 2500 * (std::pow(x[1] - mean, 2) + std::pow(x[2] - mean, 2));
    EXPECT_NEAR(combined->resonance->chi_square, chi, 1e-4);
    EXPECT_EQ(combined->resonance->degrees_of_freedom, 2U);
    // exp(-chi/2) is the chance of a chi square of two degrees.
    EXPECT_NEAR(combined->resonance->chance, std::exp(-chi / 2), 1e-6);
    // a against the mean of b and c, which carry sqrt(2) % together.
    const double expected = (x[0] - (x[1] + x[2]) / 2) / std::sqrt(1e-4 + 2e-4);
    EXPECT_NEAR(combined->statements[0].deviation, expected, 1e-3);
    EXPECT_EQ(combined->verdict(), Verdict::good);
}

TEST(Combined, WhatResultsShareIsNotAveragedAway) {
    const auto combined =
        combine({resonance("a", "below-band", 100e3, {{"noise", 0.002}, {"described inductance", 0.01}}),
                 resonance("b", "loading-series", 100.1e3, {{"noise", 0.002}, {"described inductance", 0.01}})},
                std::nullopt);
    ASSERT_TRUE(combined.ok() && combined->resonance);
    // The common 1 % stays whole, the noise of two is that of one over sqrt 2.
    EXPECT_NEAR(combined->resonance->u95 / combined->resonance->value, 2 * std::hypot(0.01, 0.002 / std::sqrt(2)),
                1e-6);
}

TEST(Combined, StrongCorrelationNeverExtrapolates) {
    // Peelle's puzzle: the correlated mean of these would lie outside both (R. Peelle 1987, from memory). It must not.
    const auto combined =
        combine({resonance("a", "below-band", 100e3, {{"noise", 0.001}, {"described inductance", 0.005}}),
                 resonance("b", "below-band", 101e3, {{"noise", 0.001}, {"described inductance", 0.02}})},
                std::nullopt);
    ASSERT_TRUE(combined.ok() && combined->resonance) << combined->findings[0].text;
    EXPECT_NEAR(combined->resonance->value, 100e3, 1);
    EXPECT_EQ(combined->statements[1].weight, 0);
    EXPECT_GE(combined->resonance->u95, 2 * 0.005 * 100e3);
}

TEST(Combined, DisagreementIsAFindingAndNoAverage) {
    const auto combined = combine({resonance("good.json", "in-band", 100e3, {{"noise", 1e-4}}),
                                   resonance("fair.json", "below-band", 100.5e3, {{"noise", 0.005}}),
                                   resonance("moved.json", "loading-series", 106e3, {{"noise", 0.01}})},
                                  std::nullopt);
    ASSERT_TRUE(combined.ok());
    EXPECT_EQ(combined->verdict(), Verdict::rejected);
    EXPECT_FALSE(combined->resonance.has_value() || combined->inductance.has_value());
    EXPECT_FALSE(combined->difference_percent().has_value());
    ASSERT_EQ(combined->findings.size(), 1U);
    EXPECT_EQ(combined->findings[0].code, FindingCode::nonlinear);
    EXPECT_THAT(combined->findings[0].text, HasSubstr("moved.json"));
    for (const auto& s : combined->statements) EXPECT_EQ(s.weight, 0);
    // Inductances that disagree spoil it all: one of the results is not of this coil.
    auto a = winding("w.json", 80e-3, 0.002);
    auto b = resonance("s.json", "loading-series", 100e3, {{"noise", 0.01}});
    b.inductance = known(84e-3, {{"capacitors", 0.004}});
    const auto other = combine({a, b, resonance("i.json", "in-band", 100e3, {{"noise", 1e-4}})}, std::nullopt);
    ASSERT_TRUE(other.ok());
    EXPECT_FALSE(other->resonance.has_value());
    EXPECT_THAT(other->findings[0].text, HasSubstr("inductance"));
    EXPECT_THAT(other->findings[0].text, HasSubstr("w.json and s.json"));
}

TEST(Combined, CoversAndRefusesAsOftenAsItSays) {
    std::mt19937_64 random(99);
    std::normal_distribution<double> gauss(0, 1);
    std::size_t refused = 0, inside = 0, given = 0;
    constexpr std::size_t kRounds = 2000;
    for (std::size_t i = 0; i < kRounds; ++i) {
        const double truth = 150e3;
        const double prior = gauss(random), clock = gauss(random);
        const auto draw = [&](const char* name, const char* way, double noise, double shared) {
            const double f = truth * std::exp(noise * gauss(random) + shared * prior + 1e-4 * clock);
            return resonance(name, way, f, {{"noise", noise}, {"described capacitance", shared}, {"clock", 1e-4}});
        };
        const auto combined = combine({draw("a", "below-band", 0.004, 0.003), draw("b", "below-band", 0.006, 0.004),
                                       draw("c", "loading-series", 0.02, 0.01)},
                                      std::nullopt);
        ASSERT_TRUE(combined.ok());
        if (!combined->resonance) {
            ++refused;
            continue;
        }
        ++given;
        inside += std::abs(combined->resonance->value - truth) <= combined->resonance->u95 ? 1U : 0U;
    }
    // k = 2 covers 95.4 %; the counts of 2000 scatter by 0.5 %, and refusing the discordant only helps.
    EXPECT_GE(static_cast<double>(inside), 0.94 * static_cast<double>(given));
    EXPECT_LE(static_cast<double>(inside), 0.98 * static_cast<double>(given));
    // At most the 5 % of the test (and its scatter); part of the shared is counted as independent, so fewer.
    EXPECT_LE(refused, kRounds * 6 / 100);
    EXPECT_GE(refused, kRounds * 2 / 100);
    std::printf("combined, 3 results: inside %zu of %zu, refused %zu of %zu\n", inside, given, refused, kRounds);
}

TEST(Combined, AWindingSpeaksAboutTheResonanceThroughTheDescription) {
    const auto coil = test::coil_of(0.2, 0.95, 1620, true);
    const auto family = measure::ShapeFamily::build(coil);
    ASSERT_TRUE(family.ok());
    const double l = family->member(0).branch_inductance_h().sum(), f = family->first_mode_hz();
    // 4 % more inductance than calculated: 1/sqrt(1.04) of the resonance.
    const auto combined = combine(
        {winding("w", 1.04 * l, 0.0015), resonance("b", "below-band", f / std::sqrt(1.04), {{"noise", 0.005}})}, coil);
    ASSERT_TRUE(combined.ok()) << combined.error().message;
    ASSERT_TRUE(combined->resonance && combined->inductance);
    ASSERT_EQ(combined->statements.size(), 3U);
    const auto& through = combined->statements[0];
    EXPECT_EQ(through.route, "winding and described capacitance");
    EXPECT_NEAR(through.value, f / std::sqrt(1.04), 1e-6 * f);
    EXPECT_NEAR(through.u95 / through.value, std::hypot(0.0015, family->capacitance_prior()), 1e-9);  // 2 * half each
    EXPECT_NEAR(combined->inductance->value, 1.04 * l, 1e-9);
    EXPECT_LT(through.weight, 0.02);  // 5 % beside 0.5 %
    ASSERT_TRUE(combined->difference_percent().has_value());
    EXPECT_NEAR(*combined->difference_percent(), 100 * (1 / std::sqrt(1.04) - 1), 0.1);
}

TEST(Combined, ADoubtOfOneResultStaysADoubt) {
    auto a = resonance("a", "in-band", 1e5, {{"noise", 1e-3}});
    const auto b = resonance("b", "below-band", 1.0001e5, {{"noise", 1e-3}});
    ASSERT_EQ(combine({a, b}, std::nullopt)->verdict(), measure::Verdict::good);
    a.findings.push_back({"uncorrected", "caution", "no standard was used"});
    a.findings.push_back({"clock_drift", "note", "worth knowing"});
    const auto combined = combine({a, b}, std::nullopt);
    EXPECT_EQ(combined->verdict(), measure::Verdict::caution);
    ASSERT_EQ(combined->findings.size(), 1U);
    EXPECT_EQ(combined->findings.front().text, "a: no standard was used");
    EXPECT_TRUE(combined->resonance);
}

TEST(Combined, RequestsThatMakeNoSenseAreErrors) {
    const auto fails = [](const std::vector<KnownResult>& results, ErrorKind kind, const char* part) {
        const auto combined = combine(results, std::nullopt);
        ASSERT_FALSE(combined.ok()) << part;
        EXPECT_EQ(combined.error().kind, kind);
        EXPECT_THAT(combined.error().message, HasSubstr(part));
    };
    const auto a = resonance("a", "in-band", 1e5, {{"noise", 1e-3}});
    auto b = resonance("b", "below-band", 1e5, {{"noise", 1e-3}});
    fails({}, ErrorKind::usage, "two results");
    fails({a}, ErrorKind::usage, "two results");
    fails({a, a}, ErrorKind::usage, "a is given twice");
    auto copy = a;
    copy.name = "copy";
    fails({a, copy}, ErrorKind::usage, "a and copy hold the same measurement");
    fails({a, winding("w", 80e-3, 0.01)}, ErrorKind::usage, "--coil");
    auto described = a;
    described.calculated_hz = 1.01e5;
    b.calculated_hz = 1.02e5;
    fails({described, b}, ErrorKind::bad_input, "different descriptions");
}

// --- what is read

const char* const kResult = R"({"schema": "coldtune.result.v1", "hookup": "foot", "verdict": "good",
  "resonance": {"way": "below-band", "frequency_hz": 120000, "frequency_u95_hz": 1200, "q": null,
                "budget": [{"source": "noise", "frequency_u_hz": 360}, {"source": "clock", "frequency_u_hz": 0},
                           {"source": "described inductance", "frequency_u_hz": 120}]},
  "winding": null, "calculated": {"frequency_hz": 125000}})";

std::string with(const std::string& from, const std::string& to) {
    std::string text = kResult;
    const auto at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return text.replace(at, from.size(), to);
}

TEST(KnownResults, AreReadWithTheirBudgetAndTheRestOfTheirUncertainty) {
    const auto r = measure::parse_result(kResult, "x.json");
    ASSERT_TRUE(r.ok()) << r.error().message;
    EXPECT_EQ(r->name, "x.json");
    EXPECT_EQ(r->way, "below-band");
    EXPECT_EQ(r->calculated_hz, 125000);
    ASSERT_TRUE(r->resonance.has_value());
    ASSERT_EQ(r->resonance->parts.size(), 3U);
    EXPECT_DOUBLE_EQ(r->resonance->parts[0].relative_u, 0.003);
    EXPECT_DOUBLE_EQ(r->resonance->parts[1].relative_u, 0.001);
    EXPECT_EQ(r->resonance->parts[2].source, "other");
    // 0.5 % in all: what 0.3 % and 0.1 % leave.
    EXPECT_NEAR(r->resonance->parts[2].relative_u, std::sqrt(0.005 * 0.005 - 0.003 * 0.003 - 0.001 * 0.001), 1e-12);
}

TEST(KnownResults, ThatCannotBeUsedAreRefusedWithTheReason) {
    const auto fails = [](const std::string& text, const char* part, ErrorKind kind = ErrorKind::bad_input) {
        const auto r = measure::parse_result(text, "x.json");
        ASSERT_FALSE(r.ok()) << part;
        EXPECT_EQ(r.error().kind, kind) << r.error().message;
        EXPECT_THAT(r.error().message, HasSubstr("x.json"));
        EXPECT_THAT(r.error().message, HasSubstr(part));
        EXPECT_EQ(r.error().message.find('\n'), std::string::npos);
    };
    fails("", "");
    fails("{", "");
    fails("[]", "schema");
    fails("{}", "schema");
    fails(with("result.v1", "result.v9"), "schema");
    fails(with("\"good\"", "\"rejected\""), "rejected", ErrorKind::rejected);
    fails(with("\"hookup\": \"foot\"", "\"hookup\": \"tank\""), "tank says nothing");
    fails(with("\"hookup\": \"foot\"", "\"hookup\": \"elbow\""), "hookup");
    fails(with("\"frequency_hz\": 120000,", ""), "resonance.frequency_hz");
    fails(with("120000", "-5"), "resonance.frequency_hz");
    fails(with("120000", "\"120k\""), "resonance.frequency_hz");
    fails(with("\"frequency_u95_hz\": 1200", "\"frequency_u95_hz\": 0"), "resonance.frequency_u95_hz");
    fails(with("\"frequency_u95_hz\": 1200", "\"frequency_u95_hz\": 1e300"), "resonance.frequency_u95_hz is 1e+300");
    fails(with("\"frequency_u95_hz\": 1200", "\"frequency_u95_hz\": 120001"), "resonance.frequency_u95_hz");
    fails(with("120000", "1e-300"), "resonance.frequency_hz");
    fails(with("120000", "1e300"), "resonance.frequency_hz");
    fails(with("\"verdict\": \"good\",", ""), "verdict is missing");
    fails(with("\"good\"", "\"fine\""), "verdict is missing or unknown");
    fails(with("\"good\"", "7"), "verdict is missing or unknown");
    fails(with("\"source\": \"noise\"", "\"sauce\": \"noise\""), "budget");
    fails(with("below-band", "guess"), "resonance.way");
    // A unit that slipped: what the same file calculated tells.
    fails(with("125000", "125e6"), "nowhere near");
    fails(
        R"({"schema": "coldtune.result.v1", "hookup": "foot", "verdict": "good", "resonance": null, "winding": null})",
        "neither");
    const coldtune::testing::ScratchFolder folder;
    EXPECT_FALSE(measure::read_result(folder / "nothing.json").ok());
}

// --- the whole way: one bench, its below-band result and its loading series, as files

TEST(CombineCommand, PutsBelowBandAndLoadingSeriesOfOneBenchTogether) {
    const coldtune::testing::ScratchFolder folder;
    test::SweepShape shape;
    shape.rate_hz = 96000;
    shape.period = 32768;
    shape.periods = 6;
    bench::CoilOnBench on_bench;
    on_bench.description = test::coil_of(0.2, 0.95, 1620, true);
    on_bench.deviation.turns = 1.02;
    on_bench.deviation.length = 1.03;
    on_bench.q = 150;
    on_bench.sections = 32;
    bench::Bench bench;
    bench.coil = on_bench;
    bench.interface.sample_rate_hz = 96000;
    auto true_coil = on_bench.description;
    true_coil.secondary.turns *= 1.02;
    true_coil.secondary.length_m *= 1.03;
    model::ModelOptions options;
    options.sections = 32;
    const auto model = model::SecondaryModel::build(true_coil, options);
    ASSERT_TRUE(model.ok());
    const double truth = model->modes_hz()[0];

    auto request = test::request_for(bench, test::capture(bench, Hookup::foot, shape));
    request.description = on_bench.description;
    test::add_standards(request, bench, shape);
    const auto below = measure::analyze(request);
    ASSERT_TRUE(below.ok() && below->resonance() != nullptr);
    ASSERT_EQ(below->resonance()->way, measure::Way::below_band);

    measure::LoadingRequest loading;
    loading.bench = request;
    std::uint64_t seed = 5;
    for (const auto& [printed, value] : {std::pair{150e-12, 150.6e-12}, {330e-12, 328.9e-12}, {680e-12, 681e-12}}) {
        bench::Bench loaded = bench;
        loaded.loading_f = value;
        loaded.seed = ++seed;
        loading.points.push_back({printed, 0.01 * printed, test::capture(loaded, Hookup::foot, shape), "capture"});
    }
    const auto series = measure::analyze_loading(std::move(loading));
    ASSERT_TRUE(series.ok()) << series.error().message;
    ASSERT_NE(series->result.resonance(), nullptr);

    const auto below_path = folder.put("below.json", measure::to_json(*below, true).dump()).string();
    const auto series_path = folder.put("series.json", measure::to_json(*series).dump()).string();
    const auto run = [](std::vector<const char*> argv, std::string& said) {
        std::FILE* out = std::tmpfile();
        std::FILE* err = std::tmpfile();
        const int code = cli::run(static_cast<int>(argv.size()), argv.data(), out, err);
        std::rewind(out);
        said.clear();
        for (int c = std::fgetc(out); c != EOF; c = std::fgetc(out)) said.push_back(static_cast<char>(c));
        std::fclose(out);
        std::fclose(err);
        return code;
    };
    std::string said;
    ASSERT_EQ(run({"coldtune", "combine", below_path.c_str(), series_path.c_str(), "--json"}, said), 0) << said;
    const auto j = nlohmann::json::parse(said);
    EXPECT_EQ(j["schema"], "coldtune.combined.v1");
    const double f = j["resonance"]["frequency_hz"], u95 = j["resonance"]["frequency_u95_hz"];
    EXPECT_LE(std::abs(f - truth), u95);
    EXPECT_LE(u95,
              std::min(below->resonance()->frequency_u95_hz, series->result.resonance()->frequency_u95_hz) * 1.0001);
    EXPECT_EQ(j["values"].size(), 3U);  // two resonances and an inductance
    std::printf(
        "combined of below-band (%+.2f %%, stated %.2f %%) and loading series (%+.2f %%, stated %.2f %%): %+.2f %%, "
        "stated %.2f %%\n",
        100 * (below->resonance()->frequency_hz / truth - 1), 100 * below->resonance()->frequency_u95_hz / truth,
        100 * (series->result.resonance()->frequency_hz / truth - 1),
        100 * series->result.resonance()->frequency_u95_hz / truth, 100 * (f / truth - 1), 100 * u95 / truth);

    EXPECT_EQ(run({"coldtune", "combine", below_path.c_str(), series_path.c_str()}, said), 0);
    EXPECT_THAT(said, HasSubstr("below-band"));
    EXPECT_EQ(run({"coldtune", "combine", below_path.c_str(), below_path.c_str()}, said), 2);
    EXPECT_EQ(run({"coldtune", "combine", below_path.c_str()}, said), 2);
    EXPECT_EQ(run({"coldtune", "combine", below_path.c_str(), "nothing.json"}, said), 3);
    // The same coil with another top load, say: 12 % lower.
    auto moved = nlohmann::json::parse(measure::to_json(*below, false).dump());
    moved["resonance"]["frequency_hz"] = 0.88 * moved["resonance"]["frequency_hz"].get<double>();
    const auto moved_path = folder.put("moved.json", moved.dump()).string();
    EXPECT_EQ(run({"coldtune", "combine", below_path.c_str(), moved_path.c_str(), "--json"}, said), 4);
    EXPECT_TRUE(nlohmann::json::parse(said)["resonance"].is_null());
}

}  // namespace
}  // namespace coldtune
