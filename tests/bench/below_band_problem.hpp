// The problem of the below-band way that the benchmark times and that tests/bench/side_by_side gives to scipy: the
// demonstration coil through an interface of 96 kHz, half as high again above its band, with an open standard.
#pragma once

#include <stdexcept>
#include <variant>

#include "analyzer/measure/below_band.hpp"
#include "tests/bench/bench_captures.hpp"

namespace coldtune::test {

struct BelowBandProblem {
    dsp::BenchValues values{10e3, 1e6, 150e-12, 0};
    measure::BenchTolerances tolerances{};
    dsp::Band band{};
    dsp::CorrectedResponse corrected;
    measure::ShapeFamily family;
    measure::BelowBandOutcome outcome() const {
        return measure::find_below_band(corrected, family, values, tolerances, band);
    }
};

inline BelowBandProblem below_band_problem() {
    bench::Bench bench = bench::default_bench();
    bench.interface.sample_rate_hz = 96000;
    bench.interface.anti_alias.corner_hz = 45500;
    CaptureShape shape;
    shape.rate_hz = 96000;
    shape.period_frames = 96000;
    dsp::PeriodicOptions options;
    options.period_frames = shape.period_frames;
    const auto response = [&](bench::Hookup hookup) {
        auto made = dsp::periodic_response(bench_capture(bench, hookup, shape), options);
        if (!made) throw std::runtime_error(made.error().message);
        return std::move(*made);
    };
    dsp::Standards standards;
    standards.open = response(bench::Hookup::open);
    auto family = measure::ShapeFamily::build(std::get<bench::CoilOnBench>(bench.coil).description);
    if (!family) throw std::runtime_error(family.error().message);
    BelowBandProblem problem{.corrected = {}, .family = std::move(*family)};
    auto corrected = dsp::correct(response(bench::Hookup::foot), standards, problem.values);
    if (!corrected) throw std::runtime_error(corrected.error().message);
    problem.band = {1000, 0.45 * shape.rate_hz};
    problem.corrected = std::move(*corrected);
    return problem;
}

}  // namespace coldtune::test
