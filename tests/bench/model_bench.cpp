// How fast the distributed model follows a slider. Wanted on one core: 60 sections, toroid and ground within 5 ms, a
// changed head capacitance within 1 ms, an admittance within about 1 us per mode.
#include <benchmark/benchmark.h>

#include <cstddef>
#include <stdexcept>

#include "analyzer/model/secondary.hpp"
#include "tests/support/example_coil.hpp"

namespace coldtune::model {
namespace {

CoilDescription coil() {
    return test::example_coil({Toroid{0.4, 0.1, 0.08}});
}

SecondaryModel model_of(std::size_t sections) {
    auto model = SecondaryModel::build(coil(), {.sections = sections, .convergence = 1e-3});
    if (!model) throw std::runtime_error(model.error().message);
    return std::move(model).value();
}

void build_model(benchmark::State& state) {
    const auto sections = static_cast<std::size_t>(state.range(0));
    for (auto _ : state) benchmark::DoNotOptimize(model_of(sections).modes_hz().front());
    const SecondaryModel model = model_of(sections);
    state.counters["mode_1_hz"] = model.modes_hz()[0];
    state.counters["mode_2_hz"] = model.modes_hz()[1];
    state.counters["mode_3_hz"] = model.modes_hz()[2];
}
BENCHMARK(build_model)->Arg(24)->Arg(60)->Arg(120)->Arg(200)->Unit(benchmark::kMillisecond);

void add_head_capacitance(benchmark::State& state) {
    const SecondaryModel model = model_of(static_cast<std::size_t>(state.range(0)));
    double added = 1e-12;
    for (auto _ : state) {
        benchmark::DoNotOptimize(model.with_head_capacitance(added).modes_hz().front());
        added = added < 50e-12 ? added * 1.1 : 1e-12;
    }
}
BENCHMARK(add_head_capacitance)->Arg(24)->Arg(60)->Unit(benchmark::kMillisecond);

void foot_admittance(benchmark::State& state) {
    const SecondaryModel model = model_of(static_cast<std::size_t>(state.range(0)));
    double frequency = 1e3;
    for (auto _ : state) {
        benchmark::DoNotOptimize(model.foot_admittance(frequency));
        frequency = frequency < 400e3 ? frequency * 1.01 : 1e3;
    }
}
BENCHMARK(foot_admittance)->Arg(24)->Arg(60)->Unit(benchmark::kMicrosecond);

void calculate_all(benchmark::State& state) {
    const CoilDescription description = coil();
    for (auto _ : state) {
        const auto value = calculate(description);
        benchmark::DoNotOptimize(value->frequency_hz);
    }
}
BENCHMARK(calculate_all)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace coldtune::model
