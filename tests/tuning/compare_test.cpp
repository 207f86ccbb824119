// What a top load did: from captures, in either order, and where the results contradict each other.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "analyzer/measure/result_json.hpp"
#include "analyzer/tuning/compare.hpp"
#include "tests/support/bench_rig.hpp"
#include "tests/support/command_line.hpp"
#include "tests/support/loading_rig.hpp"
#include "tests/support/scratch_folder.hpp"
#include "tests/support/tuning_rig.hpp"
#include "tests/support/written_result.hpp"

namespace coldtune {
namespace {

using measure::KnownResult;
using test::read_back;
using ::testing::HasSubstr;
using tuning::CompareRequest;

// Of 130 mH: both resonances lie in the band of a 192 kHz interface.
model::CoilDescription big_coil(std::vector<model::TopLoadBody> topload) {
    auto coil = test::coil_of(0.2, 0.95, 1620, false);
    coil.topload = std::move(topload);
    return coil;
}

KnownResult captured(const model::CoilDescription& described, const bench::CoilOnBench::Deviation& off,
                     const std::string& name) {
    bench::Bench bench;
    bench::CoilOnBench coil;
    coil.description = described;
    coil.deviation = off;
    coil.q = 150;
    coil.sections = test::kTrueSections;
    bench.coil = coil;
    bench.wiring.reference_ohm = 10.04e3;
    test::SweepShape shape;
    shape.period = 65536;
    shape.periods = 4;
    auto request = test::request_for(bench, test::capture(bench, bench::Hookup::foot, shape));
    request.coil.note->device = "one interface";
    request.open = test::standard(bench, bench::Hookup::open, shape);
    request.description = described;
    const auto result = measure::analyze(request);
    if (!result) throw std::runtime_error(result.error().message);
    auto known = measure::parse_any_result(measure::to_json(*result, false).dump(), name);
    if (!known) throw std::runtime_error(known.error().message);
    return std::move(*known);
}

// The coil as `off` makes it, for the truth.
test::TruePair truth_of(model::CoilDescription coil, const bench::CoilOnBench::Deviation& off) {
    coil.secondary.diameter_m *= off.diameter;
    coil.secondary.length_m *= off.length;
    coil.secondary.turns *= off.turns;
    for (auto& body : coil.topload) {
        if (auto* t = std::get_if<model::Toroid>(&body)) {
            t->outer_diameter_m *= off.topload;
            t->tube_diameter_m *= off.topload;
        } else if (auto* s = std::get_if<model::Sphere>(&body)) {
            s->diameter_m *= off.topload;
        }
    }
    model::ModelOptions options;
    options.sections = test::kTrueSections;
    test::TruePair pair;
    pair.loaded_hz = model::SecondaryModel::build(coil, options)->modes_hz()[0];
    coil.topload.clear();
    const auto bare = model::SecondaryModel::build(coil, options);
    pair.bare = test::TrueCoil::from(*bare);
    pair.bare_hz = bare->modes_hz()[0];
    pair.inductance_h = bare->branch_inductance_h().sum();
    return pair;
}

bench::CoilOnBench::Deviation deviation(double diameter, double length, double turns, double topload) {
    bench::CoilOnBench::Deviation off;
    off.diameter = diameter;
    off.length = length;
    off.turns = turns;
    off.topload = topload;
    return off;
}

TEST(Compare, RecoversToroidAndSphereFromCaptures) {
    const std::vector<std::pair<model::TopLoadBody, bench::CoilOnBench::Deviation>> cases = {
        {model::Toroid{0.6, 0.16, 0.12}, deviation(1.04, 0.97, 0.98, 1.03)},
        {model::Sphere{0.3, 0.18}, deviation(0.96, 1.03, 1.02, 0.97)}};
    for (const auto& [body, off] : cases) {
        const auto coil = big_coil({body});
        CompareRequest request{captured(big_coil({}), off, "a.json"),
                               captured(coil, off, "b.json"),
                               tuning::NamedCoil{coil, "coil.json"},
                               {},
                               {}};
        const auto truth = truth_of(coil, off);
        const double true_f = test::true_equivalent_f(truth, truth.loaded_hz);
        const auto result = tuning::compare(request);
        ASSERT_TRUE(result.ok()) << result.error().message;
        ASSERT_TRUE(result->added.has_value());
        EXPECT_NEAR(result->shift->shift_hz, truth.loaded_hz - truth.bare_hz, result->shift->shift_u95_hz);
        EXPECT_LE(std::abs(result->added->value_f - true_f), result->added->u95_f);
        EXPECT_FALSE(result->inductance_measured);
        EXPECT_LE(std::abs(result->calculated->value_f - true_f), result->calculated->u95_f);
        EXPECT_GT(*result->isolated_f, true_f);

        KnownResult winding;
        winding.name = "w.json";
        winding.hookup = bench::Hookup::winding;
        winding.inductance = measure::KnownValue{truth.inductance_h, 0.01 * truth.inductance_h, {{"noise", 0.005}}};
        request.inductance = winding;
        const auto sharper = tuning::compare(request);
        ASSERT_TRUE(sharper.ok());
        EXPECT_LE(std::abs(sharper->added->value_f - true_f), sharper->added->u95_f);
        // An inductance to 1 % tells the capacitance to about that.
        EXPECT_LT(sharper->added->u95_f, 0.03 * true_f);
    }
}

struct Written {
    model::CoilDescription coil = big_coil({model::Toroid{0.6, 0.16, 0.12}}), bare = big_coil({});
    KnownResult a = read_back({.frequency_hz = 80e3, .description = bare}, "a.json");
    KnownResult b = read_back({.frequency_hz = 60e3, .description = coil}, "b.json");
    [[nodiscard]] CompareRequest request() const { return {a, b, tuning::NamedCoil{coil, "coil.json"}, {}, {}}; }
};

bool says(const tuning::CompareResult& r, const std::string& code) {
    return std::any_of(r.remarks.begin(), r.remarks.end(), [&](const auto& x) { return x.code == code; });
}

TEST(Compare, PutsTheResultsInOrderAndSaysSo) {
    const Written w;
    const auto straight = tuning::compare(w.request());
    CompareRequest turned = w.request();
    std::swap(turned.a, turned.b);
    const auto back = tuning::compare(turned);
    ASSERT_TRUE(straight.ok() && back.ok());
    EXPECT_EQ(straight->remarks.size(), 0U);
    EXPECT_TRUE(says(*back, "order"));
    EXPECT_EQ(back->added->value_f, straight->added->value_f);
    // The ratio does not feel the clock both share: 1e-5 of noise twice, 60/80 of it.
    EXPECT_NEAR(straight->shift->relative_u95, 2 * 0.75 * 1e-5 * std::sqrt(2.0), 1e-9);
    auto other = w.request();
    other.b.bench.device = "another";
    const auto apart = tuning::compare(other);
    EXPECT_TRUE(says(*apart, "other-clock"));
    EXPECT_NEAR(apart->shift->relative_u95, 2 * 0.75 * std::sqrt(2.0) * std::hypot(1e-5, 50e-6 / std::sqrt(3.0)), 1e-9);
}

TEST(Compare, SeesContradictions) {
    const Written w;
    CompareRequest r = w.request();
    r.a.resonance->value = 50e3;  // the bare coil below the loaded one
    const auto impossible = tuning::compare(r);
    ASSERT_TRUE(impossible.ok());
    EXPECT_EQ(impossible->verdict(), measure::Verdict::rejected);
    EXPECT_FALSE(impossible->shift.has_value());
    EXPECT_FALSE(impossible->added.has_value());

    r = w.request();
    r.a.resonance->value = 60.0001e3;
    EXPECT_TRUE(says(*tuning::compare(r), "no-shift"));

    r = w.request();
    r.a.described = r.b.described;
    EXPECT_TRUE(says(*tuning::compare(r), "other-top-load"));

    // Two top loads, neither of them bare: the model of the bare coil does not apply.
    r = w.request();
    r.a.described->topload = {model::Sphere{0.1, 0.18}};
    const auto between = tuning::compare(r);
    EXPECT_TRUE(says(*between, "other-top-load"));
    EXPECT_TRUE(between->shift.has_value());
    EXPECT_FALSE(between->added.has_value());
    EXPECT_FALSE(between->calculated.has_value());

    r = w.request();
    r.coil->coil.topload = {model::Sphere{0.3, 0.18}};
    const auto other = tuning::compare(r);
    EXPECT_TRUE(says(*other, "other-top-load"));
    EXPECT_TRUE(other->added.has_value());
    EXPECT_FALSE(other->calculated.has_value());  // not that one's value

    // Loaded far less than any such top load would: as if it hung on no wire.
    r = w.request();
    r.b.resonance->value = 78e3;
    EXPECT_TRUE(says(*tuning::compare(r), "top-load-differs"));

    r = w.request();
    r.b = r.a;
    EXPECT_EQ(tuning::compare(r).error().kind, ErrorKind::usage);
    r = w.request();
    r.instead = r.coil;
    r.instead->coil.secondary.turns += 1;
    EXPECT_EQ(tuning::compare(r).error().kind, ErrorKind::bad_input);
    r.coil.reset();
    EXPECT_EQ(tuning::compare(r).error().kind, ErrorKind::usage);
    r = w.request();
    r.inductance = r.a;
    EXPECT_EQ(tuning::compare(r).error().kind, ErrorKind::usage);
}

// The measured top load itself, asked for as another one, is what was measured.
TEST(Compare, AShiftThatNoTopLoadMakesGivesNoCapacitance) {
    CompareRequest request;
    const auto loaded = big_coil({model::Toroid{0.4, 0.1, 0.08}});
    request.a = read_back({.frequency_hz = 60e3, .description = big_coil({})}, "bare.json");
    request.b = read_back({.frequency_hz = 20e3, .description = loaded}, "loaded.json");
    request.coil = tuning::NamedCoil{loaded, "coil.json"};
    const auto c = tuning::compare(request);
    ASSERT_TRUE(c) << c.error().message;
    EXPECT_EQ(c->verdict(), measure::Verdict::rejected);
    EXPECT_FALSE(c->added);
    EXPECT_FALSE(c->calculated);
}

TEST(Compare, AnotherTopLoadThatIsTheSameChangesNothing) {
    const Written w;
    CompareRequest r = w.request();
    r.instead = r.coil;
    const auto result = tuning::compare(r);
    ASSERT_TRUE(result.ok() && result->instead.has_value());
    EXPECT_NEAR(result->instead->frequency_hz / 60e3, 1, 1e-6);
    r.instead->coil.topload.clear();
    EXPECT_NEAR(tuning::compare(r)->instead->frequency_hz / 80e3, 1, 1e-6);
}

TEST(CompareCommand, PrintsOneObjectAndTheExitCodesOfTheContract) {
    const coldtune::testing::ScratchFolder folder;
    const char* const coil_json =
        R"({"secondary": {"diameter": "200mm", "length": "950mm", "turns": 1620, "wire": "0.47mm",
            "base_height": "250mm"}, "topload": {"shape": "toroid", "outer_diameter": "600mm",
            "tube_diameter": "160mm", "height": "120mm"}})";
    const auto coil = folder.put("coil.json", coil_json).string();
    const auto a = folder.put("a.json", test::written({.frequency_hz = 80e3})).string();
    const auto b = folder.put("b.json", test::written({.frequency_hz = 60e3})).string();
    const auto text = testing::coldtune({"compare", a, b, "--coil", coil, "--instead", coil, "--budget"});
    EXPECT_EQ(text.code, 0) << text.err;
    for (const char* word : {"shift", "-25.0", "added", "calculated", "alone in space", "instead", "uncertainty"})
        EXPECT_THAT(text.out, HasSubstr(word));
    const auto json = testing::coldtune({"compare", a, b, "--coil", coil, "--json"});
    const auto object = nlohmann::json::parse(json.out);
    EXPECT_EQ(object["schema"], "coldtune.compare.v1");
    EXPECT_NEAR(object["shift"]["shift_hz"].get<double>(), -20e3, 1e-6);
    EXPECT_GT(object["added"]["capacitance_f"].get<double>(), 1e-12);
    const auto alone = testing::coldtune({"compare", a, b});
    EXPECT_EQ(alone.code, 0);
    EXPECT_THAT(alone.out, HasSubstr("--coil COIL.json"));
    EXPECT_TRUE(nlohmann::json::parse(testing::coldtune({"compare", a, b, "--json"}).out)["added"].is_null());
    EXPECT_EQ(testing::coldtune({"compare", a}).code, 2);
    EXPECT_EQ(testing::coldtune({"compare", a, a}).code, 2);
    EXPECT_EQ(testing::coldtune({"compare", a, coil}).code, 3);
    EXPECT_EQ(testing::coldtune({"compare", "--help"}).code, 0);
}

}  // namespace
}  // namespace coldtune
