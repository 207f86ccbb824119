// A standard that is none is refused when it is taken. Truth: the bench was wired so.
#include "analyzer/measure/standard_check.hpp"

#include <gtest/gtest.h>

#include "tests/support/bench_rig.hpp"

namespace coldtune {
namespace {

using bench::Hookup;
using measure::FindingCode;
using measure::Verdict;

bench::Bench bench_with_coil() {
    bench::Bench b;
    b.interface.sample_rate_hz = 96000;
    b.coil = test::series_coil(24e3, 120, 0.06, 8e-12);
    return b;
}

struct Taken {
    Verdict verdict;
    std::string text;
};

// `wired` is what hangs there, `called` what it is taken for.
Taken taken(const bench::Bench& b, Hookup wired, Hookup called, double load_ohm = 0, double input_ohm = 0) {
    test::SweepShape shape;
    shape.rate_hz = 96000;
    shape.period = 32768;
    shape.periods = 4;
    auto request = test::request_for(b, test::capture(b, wired, shape), called);
    request.bench.load_ohm = load_ohm;
    if (input_ohm > 0) request.bench.input_resistance_ohm = input_ohm;
    const auto result = measure::analyze(request);
    if (!result) return {Verdict::rejected, result.error().message};
    return {result->verdict(), result->findings.empty() ? "" : result->findings.front().text};
}

void expect(const Taken& t, Verdict verdict, std::string_view words) {
    EXPECT_EQ(t.verdict, verdict) << t.text;
    EXPECT_NE(t.text.find(words), std::string::npos) << t.text;
}

TEST(StandardCheck, TrueOnesPass) {
    const auto b = bench_with_coil();
    for (const Hookup h : {Hookup::open, Hookup::short_circuit, Hookup::load}) {
        const Taken t = taken(b, h, h, h == Hookup::load ? b.wiring.load_ohm : 0);
        EXPECT_EQ(t.verdict, Verdict::good) << bench::describe(h).name << ": " << t.text;
    }
}

TEST(StandardCheck, AnOpenLeadThatHoldsSomethingIsRefused) {
    const auto b = bench_with_coil();
    expect(taken(b, Hookup::foot, Hookup::open), Verdict::rejected, "the clip still holds the coil");
    expect(taken(b, Hookup::short_circuit, Hookup::open), Verdict::rejected, "next to nothing reaches input 2");
    expect(taken(b, Hookup::load, Hookup::open), Verdict::caution, "the open lead conducts like");
}

TEST(StandardCheck, AnInputOfLowResistanceIsAskedFor) {
    auto b = bench_with_coil();
    b.wiring.coil_input.resistance_ohm = 20e3;
    expect(taken(b, Hookup::open, Hookup::open, 0, 1e6), Verdict::caution, "the input's own resistance");
    EXPECT_EQ(taken(b, Hookup::open, Hookup::open, 0, 20e3).verdict, Verdict::good);
}

TEST(StandardCheck, AShortThatIsNoneIsRefused) {
    const auto b = bench_with_coil();
    expect(taken(b, Hookup::open, Hookup::short_circuit), Verdict::rejected, "the short looks like");
    expect(taken(b, Hookup::load, Hookup::short_circuit), Verdict::rejected, "the short looks like");
}

TEST(StandardCheck, ALoadOfAnotherValueIsRefused) {
    auto b = bench_with_coil();
    b.wiring.load_ohm = 4.7e3;
    expect(taken(b, Hookup::load, Hookup::load, 10e3), Verdict::rejected, "looks like 4.68 kohm");
    EXPECT_EQ(taken(b, Hookup::load, Hookup::load, 4.7e3).verdict, Verdict::good);
    EXPECT_EQ(taken(b, Hookup::load, Hookup::load).verdict, Verdict::good);  // its value may be stated later
    expect(taken(b, Hookup::open, Hookup::load), Verdict::rejected, "looks like an open lead");
}

TEST(StandardCheck, AnInputTurnedOverIsSaid) {
    const auto b = bench_with_coil();
    test::SweepShape shape;
    shape.rate_hz = 96000;
    shape.period = 32768;
    shape.periods = 4;
    for (const Hookup h : {Hookup::open, Hookup::load, Hookup::foot}) {
        auto request = test::request_for(b, test::capture(b, h, shape), h);
        for (double& x : request.coil.capture.coil) x = -x;
        const auto result = measure::analyze(request);
        ASSERT_TRUE(result);
        EXPECT_EQ(result->verdict(), Verdict::rejected) << bench::describe(h).name;
        ASSERT_FALSE(result->findings.empty());
        EXPECT_EQ(result->findings.front().code, FindingCode::inputs_swapped);
        EXPECT_NE(result->findings.front().text.find("turned over"), std::string::npos);
    }
}

}  // namespace
}  // namespace coldtune
