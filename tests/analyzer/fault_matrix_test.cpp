// Every mistake of wiring, signal and clock on one and the same bench: what is found, what is said of it, and that no
// wrong resonance is called good. The table in DEVELOPERS.md is what this test prints.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "analyzer/measure/analysis_context.hpp"
#include "tests/support/capture_faults.hpp"

namespace coldtune {
namespace {

using measure::FindingCode;
using measure::Verdict;
using test::FaultScene;

// The coil of the demonstration (65.8 kHz, Q 130) on a 192 kHz interface, described, with all three standards.
FaultScene demonstration() {
    FaultScene scene;
    scene.bench = bench::default_bench();
    auto& coil = std::get<bench::CoilOnBench>(scene.bench.coil);
    coil.sections = 24;
    scene.description = coil.description;
    scene.standards = scene.bench;
    scene.use_open = scene.use_short = scene.use_load = true;
    scene.shape.period = 32768;  // so that the whole is long enough to tell the harmonics of hum apart
    scene.shape.periods = 5;
    return scene;
}

struct Row {
    const char* fault;
    double strength;
    Verdict verdict;
    std::optional<FindingCode> finding = {};  // one that must be there; nullopt: none beyond notes
};

std::string findings_of(const measure::MeasurementResult& result) {
    std::string out;
    for (const auto& f : result.findings) {
        const std::string name(measure::code_name(f.code));
        if (out.find(name) == std::string::npos) out += (out.empty() ? "" : ", ") + name;
    }
    return out.empty() ? "none" : out;
}

class FaultMatrix : public testing::TestWithParam<Row> {};

TEST_P(FaultMatrix, IsSeenAndNothingWrongIsCalledGood) {
    const Row row = GetParam();
    static const double truth_hz = *test::true_resonance_hz(demonstration().bench, 50e3, 80e3);
    FaultScene scene = demonstration();
    scene.resonance_hz = truth_hz;
    test::FaultDraw draw{std::mt19937_64(11)};
    test::capture_fault(row.fault).apply(scene, row.strength, draw);
    // The calculated value is the same for all and takes longer than the rest.
    auto request = test::record_scene(scene);
    static const auto calculated = model::calculate(*request.description);
    auto undescribed = request;
    undescribed.description.reset();
    auto context = measure::prepare(undescribed);
    ASSERT_TRUE(calculated.ok() && context.ok());
    context->calculated = *calculated;
    const auto result = measure::analyze_prepared(request, *context);
    ASSERT_TRUE(result.ok()) << result.error().message;
    const std::string found = findings_of(*result);
    std::printf("| %s%s%s | %s | %s |\n", row.fault, scene.detail.empty() ? "" : ": ", scene.detail.c_str(),
                found.c_str(), std::string(measure::verdict_name(result->verdict())).c_str());
    EXPECT_EQ(measure::verdict_name(result->verdict()), measure::verdict_name(row.verdict)) << found;
    if (row.finding) {
        EXPECT_NE(found.find(measure::code_name(*row.finding)), std::string::npos) << found;
    } else {
        EXPECT_EQ(result->verdict(), Verdict::good) << found;
    }
    const auto* r = result->resonance();
    EXPECT_EQ(r == nullptr, result->verdict() == Verdict::rejected);
    // 95 % intervals, fixed seeds: the few that are good lie inside.
    if (result->verdict() == Verdict::good) {
        EXPECT_LE(std::abs(r->frequency_hz - truth_hz), r->frequency_u95_hz);
    }
}

constexpr auto good = Verdict::good, caution = Verdict::caution, rejected = Verdict::rejected;
using enum FindingCode;

INSTANTIATE_TEST_SUITE_P(
    Wiring, FaultMatrix,
    testing::Values(Row{"clip in the air", 0, rejected, no_coil}, Row{"lead on the return", 0, rejected, shorted},
                    Row{"inputs swapped", 0, rejected, FindingCode::inputs_swapped},
                    Row{"generator input dead", 0, rejected, too_quiet}, Row{"coil input dead", 0, rejected, too_quiet},
                    Row{"another reference resistor", 0, caution, correction_stale},
                    Row{"another reference resistor", 1, caution, correction_stale},
                    Row{"return missing", 0, caution, no_coil}, Row{"return missing", 1, rejected, no_coil},
                    Row{"return missing throughout", 0.5, rejected, correction_stale},
                    Row{"head clipped to ground", 0, rejected, shorted}, Row{"mains hum", 0.2, caution, hum},
                    Row{"mains hum", 1, rejected, hum}, Row{"broadcast carrier", 0.2, good},
                    Row{"broadcast carrier", 1, caution, nonlinear}, Row{"loose contact", 0.77, caution, nonlinear},
                    Row{"coil touched", 0.3, caution, nonlinear}, Row{"coil touched", 1, caution, nonlinear},
                    Row{"moving surroundings", 0.4, caution, nonlinear},
                    Row{"moving surroundings", 1, caution, nonlinear}));

INSTANTIATE_TEST_SUITE_P(
    Signal, FaultMatrix,
    testing::Values(
        Row{"generator side clips", 0.2, rejected, clipped}, Row{"coil side clips", 0.2, rejected, clipped},
        Row{"dropout", 0, rejected, FindingCode::dropout}, Row{"dropout", 1, rejected, FindingCode::dropout},
        Row{"duplicated block", 0, rejected, FindingCode::dropout},
        Row{"duplicated block", 1, rejected, FindingCode::dropout}, Row{"lost block", 0.3, rejected, rate_mismatch},
        Row{"wrong rate stated", 0, caution, rate_mismatch}, Row{"rates differ", 0, rejected, rate_mismatch},
        Row{"rate conversion", 0.1, good}, Row{"automatic gain", 0.5, rejected, correction_stale},
        Row{"noise gate", 0.5, good}, Row{"noise gate", 1, rejected, FindingCode::dropout},
        Row{"lossy compression", 0.2, rejected, correction_stale},
        Row{"lossy compression", 1, rejected, correction_stale}, Row{"echo", 0.5, good}, Row{"monitor loop", 0.2, good},
        Row{"monitor loop", 1, rejected, correction_stale}, Row{"direct current", 0.5, good},
        Row{"eight bits", 0, good}, Row{"eight bits", 1, rejected, too_quiet}));

INSTANTIATE_TEST_SUITE_P(Clock, FaultMatrix,
                         testing::Values(Row{"clock drift", 0.1, good},
                                         Row{"clock drift", 1, caution, FindingCode::clock_drift},
                                         Row{"clock jump", 0.3, rejected, FindingCode::dropout},
                                         Row{"clock jump", 1, rejected, rate_mismatch}));

}  // namespace
}  // namespace coldtune
