// Random coils, random faults of random strength: what is called good must be right.
//
// Every build tries a few dozen; COLDTUNE_FAULT_CAPTURES=2000 tries that many (from COLDTUNE_FAULT_FIRST on),
// COLDTUNE_FAULT_ONLY="coil touched" one fault alone ("none": benches with nothing wrong), COLDTUNE_FAULT_LIST=1 prints
// a line for each.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <string>
#include <string_view>

#include "analyzer/bench/bench_circuit.hpp"
#include "tests/support/capture_faults.hpp"

namespace coldtune {
namespace {

using bench::Bench;
using measure::MeasurementResult;
using measure::Verdict;
using test::CoilKind;
using test::FaultDraw;
using test::FaultScene;

// Q (from the half-power width) and resistance at the resonance, from the same circuit.
struct TrueLoss {
    double q = 0, resistance_ohm = 0;
};
TrueLoss true_loss(const Bench& bench, double resonance_hz) {
    const auto circuit = bench::BenchCircuit::build(bench, bench::Hookup::foot);
    const auto conductance = [&](double f) { return circuit->device_admittance(f)->real(); };
    const double top = conductance(resonance_hz);
    double edge[2];
    for (const int side : {0, 1}) {
        double in = resonance_hz, out = resonance_hz * (side == 0 ? 0.8 : 1.25);
        for (int i = 0; i < 60; ++i) {
            const double middle = 0.5 * (in + out);
            (conductance(middle) > 0.5 * top ? in : out) = middle;
        }
        edge[side] = in;
    }
    return {resonance_hz / (edge[1] - edge[0]), 1 / top};
}

struct Tally {
    int cases = 0, refused = 0, rejected = 0, caution = 0, good = 0;
    // Of those with this verdict, frequencies outside the 95 % interval and beyond three half-widths.
    int caution_missed = 0, caution_far = 0, good_missed = 0, good_far = 0;
    int q_missed = 0, resistance_missed = 0;  // of the good in-band ones
    double worst = 0;                         // of the good ones, in half-widths

    void add(const Result<MeasurementResult>& result, const FaultScene& scene) {
        ++cases;
        if (!result) {
            ++refused;
            return;
        }
        const auto* r = result->resonance();
        if (r == nullptr) {
            ++rejected;
            return;
        }
        const double off = std::abs(r->frequency_hz - scene.resonance_hz) / r->frequency_u95_hz;
        const bool is_good = result->verdict() == Verdict::good;
        ++(is_good ? good : caution);
        if (off > 1) ++(is_good ? good_missed : caution_missed);
        if (off > 3) ++(is_good ? good_far : caution_far);
        if (!is_good) return;
        worst = std::max(worst, off);
        if (r->way != measure::Way::in_band) return;
        const TrueLoss loss = true_loss(scene.bench, scene.resonance_hz);
        q_missed += std::abs(*r->q - loss.q) > *r->q_u95 ? 1 : 0;
        resistance_missed += std::abs(*r->resistance_ohm - loss.resistance_ohm) > *r->resistance_u95_ohm ? 1 : 0;
    }
    void print(const std::string& name) const {
        std::printf(
            "%-24s %4d: refused %3d, rejected %3d, caution %3d (missed %3d, far %3d), good %3d (missed %2d, far %2d, "
            "worst %.2f; Q missed %d, resistance %d)\n",
            name.c_str(), cases, refused, rejected, caution, caution_missed, caution_far, good, good_missed, good_far,
            worst, q_missed, resistance_missed);
    }
};

std::string line_of(std::size_t number, const std::string& fault, double strength, const FaultScene& scene,
                    const Result<MeasurementResult>& result) {
    std::string out =
        fmt::format("{:4} {:24} {:.2f} {:24} {:6.0f} Hz {}{}{} {}x{} ", number, fault, strength, scene.detail,
                    scene.resonance_hz, scene.use_open ? 'o' : '-', scene.use_short ? 's' : '-',
                    scene.use_load ? 'l' : '-', scene.shape.periods, scene.shape.period);
    if (!result) return out + "refused: " + result.error().message;
    out += measure::verdict_name(result->verdict());
    if (const auto* r = result->resonance()) {
        const double off = (r->frequency_hz - scene.resonance_hz) / r->frequency_u95_hz;
        out += fmt::format(" {} off {:.2f} half-widths of {:.0f} ppm{}", way_name(r->way), off,
                           1e6 * r->frequency_u95_hz / r->frequency_hz,
                           std::abs(off) > 3   ? " FAR"
                           : std::abs(off) > 1 ? " MISSED"
                                               : "");
        if (r->way == measure::Way::in_band) {
            const TrueLoss loss = true_loss(scene.bench, scene.resonance_hz);
            out += fmt::format(", Q off {:.2f} half-widths of {:.2f} %", (*r->q - loss.q) / *r->q_u95,
                               100 * *r->q_u95 / *r->q);
        }
    }
    for (const auto& f : result->findings) out += fmt::format(" [{}: {}]", measure::code_name(f.code), f.text);
    return out;
}

TEST(FaultCaptures, WhatIsCalledGoodIsRight) {
    const char* count_text = std::getenv("COLDTUNE_FAULT_CAPTURES");
    const char* first_text = std::getenv("COLDTUNE_FAULT_FIRST");
    const std::size_t first = first_text != nullptr ? std::strtoul(first_text, nullptr, 10) : 0;
    const char* only = std::getenv("COLDTUNE_FAULT_ONLY");
    const bool list = std::getenv("COLDTUNE_FAULT_LIST") != nullptr;
    const auto faults = test::capture_faults();
    // Twice round, nothing wrong among them.
    const std::size_t count = count_text != nullptr ? std::strtoul(count_text, nullptr, 10) : 2 * (faults.size() + 1);
    std::map<std::string, Tally> by_fault;
    Tally all;
    for (std::size_t i = first; i < first + count; ++i) {
        FaultDraw draw{std::mt19937_64(1000003 + i)};
        const double kind = draw.uniform(0, 1);
        const std::size_t which = i % (faults.size() + 1);
        const test::CaptureFault* fault = which < faults.size() ? &faults[which] : nullptr;
        if (only != nullptr) fault = std::string_view(only) == "none" ? nullptr : &test::capture_fault(only);
        const bool described = fault != nullptr && fault->needs_description;
        FaultScene scene = test::draw_scene(kind < 0.5 && !described ? CoilKind::lumped
                                            : kind < 0.75            ? CoilKind::described
                                                                     : CoilKind::below_band,
                                            draw);
        const double strength = draw.uniform(0, 1);
        if (fault != nullptr) fault->apply(scene, strength, draw);
        const auto result = measure::analyze(test::record_scene(scene));
        const std::string name = fault != nullptr ? fault->name : "none";
        by_fault[name].add(result, scene);
        all.add(result, scene);
        if (list) std::printf("%s\n", line_of(i, name, strength, scene, result).c_str());
        if (result.ok()) {
            EXPECT_EQ(result->resonance() == nullptr, result->verdict() == Verdict::rejected) << i;
        }
    }
    for (const auto& [name, tally] : by_fault) tally.print(name);
    all.print("all");
    EXPECT_EQ(all.good_far, 0);
    // 5 %, and for a small sample two standard deviations of a count of which 5 % are expected.
    const double expected = 0.05 * all.good;
    EXPECT_LE(all.good_missed, count >= 1000 ? expected : expected + 2 * std::sqrt(expected));
    // And not because nothing is.
    if (only == nullptr) {
        EXPECT_GE(all.good, static_cast<int>(count / 8));
    }
}

}  // namespace
}  // namespace coldtune
